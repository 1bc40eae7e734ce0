"""From a description in SI numbers to a `System`: bodies, start state, surfaces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np

from snapsim.errors import InputError, label
from snapsim.mechanics.material_restitution import missing
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS, MagnetisationCurve, Material
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.bounds import check_bounds
from snapsim.scenario.coil import coil_of
from snapsim.scenario.contact import FROM_MATERIALS, ContactDescription, PairDescription
from snapsim.scenario.hand import HandDescription
from snapsim.scenario.joined import refuse_loose_members
from snapsim.scenario.joining import joints
from snapsim.scenario.material import MaterialDescription
from snapsim.scenario.rotation import quaternion_of
from snapsim.scenario.scene import SceneDescription
from snapsim.simulation.system import Hand, System


def build(scene: SceneDescription, file: str) -> System:
    """Return the system of a scene whose names have been checked; raises InputError."""
    materials = scene_materials(scene)
    bodies = tuple(_body(b, materials, file) for b in scene.body)
    start = _start(scene.body)
    check_bounds(bodies, start, file)
    return System(
        title=scene.title,
        note=scene.note,
        bodies=bodies,
        start=start,
        surfaces=_surfaces(scene.contact, bodies, file),
        gravity=np.array(scene.gravity),
        duration=scene.run.duration,
        detail=scene.run.detail,
        recoil=scene.run.recoil,
        eddy_currents=scene.run.eddy_currents,
        tolerance=scene.run.tolerance,
        file=file,
        joints=joints(scene.joint, bodies, start, file) if scene.joint else (),
        hands=tuple(_hand(h, bodies) for h in scene.hand),
    )


THIN = 1e-6
"""Half the thickness [m] of what stands for a face, and half the size of a point, at a hand."""


def _hand(h: HandDescription, bodies: tuple[Body, ...]) -> Hand:
    """The whole side of the box round a body that its face is on, or a point."""
    if h.face is None:
        point = np.zeros(3) if h.point is None else np.array(h.point)
        return Hand(h.name, h.body, point, np.full(3, THIN), h.gap)
    extents = next(b.shape.extents for b in bodies if b.name == h.body)
    axis, sign = "xyz".index(h.face[1]), 1.0 if h.face[0] == "+" else -1.0
    point, span = np.zeros(3), extents.copy()
    point[axis], span[axis] = sign * extents[axis], THIN
    return Hand(h.name, h.body, point, span, h.gap)


def scene_materials(scene: SceneDescription) -> dict[str, Material]:
    """Return the materials the scene's bodies use, by name; its own win over the built-in."""
    own = {m.name: _material(m) for m in scene.material}
    return {b.material: own.get(b.material) or MATERIALS[b.material] for b in scene.body}


def _material(m: MaterialDescription) -> Material:
    curve = None
    if m.curve is not None:
        table = np.array(m.curve, dtype=np.float64)
        curve = MagnetisationCurve(
            field_strength=table[:, 0].copy(), flux_density=table[:, 1].copy()
        )
    elif m.susceptibility is not None:
        curve = MagnetisationCurve(m.susceptibility, m.saturation)
    return Material(
        name=m.name,
        density=m.density,
        curve=curve,
        remanence=m.remanence,
        recoil_permeability=m.recoil_permeability,
        coercivity=m.coercivity,
        youngs_modulus=m.youngs_modulus,
        poissons_ratio=m.poissons_ratio,
        strength=m.strength,
        tensile_strength=m.tensile_strength,
        hardness=m.hardness,
        weibull_modulus=m.weibull_modulus,
        weibull_strength=m.weibull_strength,
        conductivity=m.conductivity,
        family=m.family,
        source=m.source or {"all": "given in the scene"},
    )


def _body(b: BodyDescription, materials: Mapping[str, Material], file: str) -> Body:
    key = f"body.{label(b.name)}"
    shape = b.shape.solid()
    for field, problem in shape.problems:
        raise InputError(problem, file=file, key=f"{key}.shape.{field}")
    if shape.members:
        refuse_loose_members(shape, file, f"{key}.shape.members")
    material = materials[b.material]
    if material.is_magnet and b.magnetised is None:
        raise InputError(
            f'is missing: "{b.material}" is a magnet and needs a direction,'
            ' like "-z" or "0.1, 0, 1"',
            file=file,
            key=f"{key}.magnetised",
        )
    if not material.is_magnet and b.magnetised is not None:
        raise InputError(
            f'is given, but "{b.material}" is no magnet; leave it out or choose a magnet material',
            file=file,
            key=f"{key}.magnetised",
        )
    direction = None if b.magnetised is None else np.array(b.magnetised)
    body = Body(b.name, shape, material, direction, b.fixed, b.edge_radius)
    return replace(body, coil=coil_of(b, body, file)) if b.current is not None else body


def _start(bodies: tuple[BodyDescription, ...]) -> State:
    quaternions = [quaternion_of(b.rotation, b.quaternion) for b in bodies]
    pose = Pose(np.array([b.position for b in bodies]), np.array(quaternions))
    return State(pose, np.array([b.velocity for b in bodies]), np.array([b.spin for b in bodies]))


def _surfaces(contact: ContactDescription, bodies: tuple[Body, ...], file: str) -> SurfaceRules:
    """Pairs by material first, then pairs by body name: the more special rule wins."""
    default = replace(
        SurfacePair(
            friction=contact.friction,
            air_gap=contact.air_gap,
            yield_speed=np.inf if contact.yield_speed is None else contact.yield_speed,
        ),
        **_kept(contact.restitution),
    )
    names = {b.name for b in bodies}
    special = sorted(contact.pair, key=lambda p: sum(n in names for n in p.between))
    exceptions = {
        numbers: _pair(pair, default) for pair in special for numbers in _meant(pair, bodies)
    }
    rules = SurfaceRules(default, exceptions)
    _refuse_unknown_metals(rules, bodies, file)
    return rules


def _kept(restitution: float | str) -> dict[str, Any]:
    """The restitution of a pair: its number, or that its materials give it."""
    if isinstance(restitution, str):
        return {"restitution": 1.0, "of_materials": True, "yield_speed": np.inf}
    return {"restitution": restitution, "of_materials": False}


def _refuse_unknown_metals(rules: SurfaceRules, bodies: tuple[Body, ...], file: str) -> None:
    """Refuse a restitution from materials of which the law lacks something."""
    for b, a in combinations(range(len(bodies)), 2):
        one, two = bodies[a], bodies[b]
        if (one.fixed and two.fixed) or not rules.pair(a, b).of_materials:
            continue
        for body in (one, two):
            lacks = missing(body.material)
            if lacks is not None:
                raise InputError(
                    f'"{FROM_MATERIALS}" cannot serve "{two.name}" on "{one.name}":'
                    f" {body.material.name}: {lacks}; give that pair a number: [[contact.pair]]"
                    f' between = ["{two.name}", "{one.name}"], restitution = 0.3',
                    file=file,
                    key="contact.restitution",
                )


def _meant(pair: PairDescription, bodies: tuple[Body, ...]) -> Iterator[tuple[int, int]]:
    """The body number pairs, lower one first, that a pair entry speaks of."""
    one, two = (_called(name, bodies) for name in pair.between)
    for a in one:
        for b in two:
            if a != b:
                yield min(a, b), max(a, b)


def _called(name: str, bodies: tuple[Body, ...]) -> list[int]:
    """The body with this name, or else all bodies of the material with this name."""
    by_name = [i for i, b in enumerate(bodies) if b.name == name]
    return by_name or [i for i, b in enumerate(bodies) if b.material.name == name]


def _pair(pair: PairDescription, default: SurfacePair) -> SurfacePair:
    own = replace(
        default,
        friction=default.friction if pair.friction is None else pair.friction,
        air_gap=default.air_gap if pair.air_gap is None else pair.air_gap,
        yield_speed=default.yield_speed if pair.yield_speed is None else pair.yield_speed,
    )
    return own if pair.restitution is None else replace(own, **_kept(pair.restitution))
