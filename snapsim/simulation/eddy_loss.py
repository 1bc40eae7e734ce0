"""How much energy eddy currents would have taken from a run that was computed without them.

    Q = sum over frames of F sigma dt integral of B'.K B' dV        (`magnetics.eddy_currents`)

for every conducting body, from release to the first blow, as a share of the energy released by
then. B' [T/s] is the change of B over a frame interval in body axes: mu_0 M in the cells of soft
parts; elsewhere the field of the magnets, and of each soft part as one dipole at its centre, at
points inside the body. K comes from the second moment of |B'|^2 over the body, so that currents
spread no wider than what drives them. F takes the fastest rate of the run, |B'| over the change of
B so far, and the largest permeability B/H that the mean magnetisation passes through.

An estimate to a factor of about two, mostly too high: it knows no back-reaction (a slowed part sees
a slower field) and overrates the loops of bodies that are no ellipsoids by up to a fifth. What it
leaves out counts the other way: hysteresis, and walls of the room. Conductors that a moving magnet
brakes (`eddy_brake`) are not counted; for them `iron_share` bounds what the field of iron changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from scipy.interpolate import PchipInterpolator

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics import magnet_pair
from snapsim.magnetics.anhysteretic import compiled_curves, crossing
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.eddy_currents import (
    diffusion_time,
    loss_tensor,
    plate_thickness,
    skin_depth,
    skin_factor,
)
from snapsim.magnetics.quick_field import QuickField
from snapsim.magnetics.sources import MagnetSet, magnet_set, source_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.simulation.conductors import brakes
from snapsim.simulation.current_stages import change_moments, standing_at
from snapsim.simulation.trajectory import Trajectory

POINT_ORDER: Final = 8
"""Points across the largest extent of a body that has no cells."""

MOST_FRAMES: Final = 400

IRON_FRAMES: Final = 40
"""Frames on which the iron's part is looked at."""


@dataclass(frozen=True)
class EddyLoss:
    """What one body loses: `energy` [J], `diffusion_time` [s], `skin_depth` [m] at the fastest."""

    body: str
    energy: float
    diffusion_time: float
    skin_depth: float


@dataclass(frozen=True)
class _Inside:
    """Flux density in one body: `field` (k, p, 3) [T], body axes, at `points` (p, 3) [m] of
    `volume` (p,) [m^3]."""

    points: Array
    volume: Array
    field: Array


def eddy_estimate(run: Trajectory) -> dict[str, float | str]:
    """Return entries of a run's `accuracy`: total share, and figures of the body that loses most.

    "eddy_unknown" names soft parts without a conductivity.
    """
    frames = _frames(run)
    if len(frames) < 2 or not any(body.is_magnet for body in run.system.bodies):
        return {}
    modelled = brakes(run.system)
    losses = [
        body_loss(body, _inside(run, i, frames), run.time[frames])
        for i, body in enumerate(run.system.bodies)
        if (body.material.conductivity or 0.0) > 0 and body.coil is None and i not in modelled
    ]
    unknown = [b.name for b in run.system.bodies if b.is_soft and not b.material.conductivity]
    potential = (run.energy["gravity"] + run.energy["magnetic"])[frames]
    released = float(np.max(potential[0] - potential))
    return _entries(losses, unknown, released)


def iron_share(run: Trajectory) -> float:
    """Return by what share (0 to 1) of itself the heat in conductors that brake may be wrong for
    the field of iron, which the brake leaves out: (1 + b)^2 - 1, at most 1, with b the root mean
    square of its B' over that of the magnets'. 0 where there is no iron, or where a run kept no
    magnetisation. Which way it goes is not asked: coarse cells leak more than a plate that shields.
    """
    frames, braking = _frames(run), brakes(run.system)
    iron = [i for i, body in enumerate(run.system.bodies) if body.is_soft]
    if len(frames) < 2 or not (braking and iron and run.magnetisation):
        return 0.0
    frames = frames[np.unique(np.linspace(0, len(frames) - 1, IRON_FRAMES).astype(int))]
    whole, own = _Fields(run, frames, iron), _Fields(run, frames, [])
    shares = [0.0]
    for i in braking:
        of_magnets = np.diff(own.inside(i).field, axis=0)
        of_iron = np.diff(whole.inside(i).field, axis=0) - of_magnets
        size = np.linalg.norm(of_magnets)
        ratio = float(np.linalg.norm(of_iron) / size) if size > 0 else 0.0
        shares.append(min(1.0, (1 + ratio) ** 2 - 1))
    return max(shares)


@dataclass(frozen=True)
class _Fields:
    """Flux density of the magnets and of some `iron`, by the numbers of the bodies, at `frames`."""

    run: Trajectory
    frames: Array
    iron: list[int]

    @cached_property
    def _field(self) -> QuickField:
        run = self.run
        bodies = standing_at(run.system, float(run.time[self.frames[0]])).bodies
        meshes = {i: mesh(bodies[i].shape, run.system.detail) for i in self.iron}
        return QuickField(bodies, meshes)

    def inside(self, number: int) -> _Inside:
        """Return it in a body that is no iron, body axes."""
        points, volume = magnet_pair.quadrature(self.run.system.bodies[number].shape, POINT_ORDER)
        field = np.stack([self._at(int(k), number, points) for k in self.frames])
        return _Inside(points, volume, field)

    def _at(self, frame: int, number: int, points: Array) -> Array:
        run = self.run
        place, turn = run.position[frame], run.quaternion[frame]
        names = {i: run.system.bodies[i].name for i in self.iron}
        magnetisation = {i: run.magnetisation[name][frame] for i, name in names.items()}
        b = self._field.at(place, turn, magnetisation)
        world = place[number] + rotations.rotate(turn[number], points)
        return rotations.rotate_back(turn[number], b(world))


def body_loss(body: Body, inside: _Inside, time: Array) -> EddyLoss:
    """Return what eddy currents take from one body over the frames at `time` (k,) [s]."""
    sigma = body.material.conductivity or 0.0
    rate, step = _rates(inside.field, time)
    square = inside.volume * np.sum(rate**2, axis=2)
    total = square.sum(axis=1)
    second = _second_moments(inside.points, square)
    tensor = loss_tensor(second)
    heat = np.einsum("p,kpi,kij,kpj,k->k", inside.volume, rate, tensor, rate, step, optimize=True)
    energy = sigma * float(heat.sum())
    if not energy > 0:
        return EddyLoss(body.name, 0.0, 0.0, float("inf"))
    thickness = plate_thickness(float(heat.sum() / (total @ step)))
    permeability = _permeability(body, inside)
    depth = skin_depth(permeability, sigma, _fastest(inside, total))
    return EddyLoss(
        body.name,
        energy * skin_factor(thickness / depth),
        diffusion_time(permeability, sigma, thickness),
        depth,
    )


def _rates(field: Array, time: Array) -> tuple[Array, Array]:
    """B' (g, p, 3) [T/s] at two Gauss points a frame interval, and their weights (g,) [s].

    Between frames B follows monotone cubics (Fritsch & Carlson, SIAM J. Numer. Anal. 17, 238
    (1980)): straight lines would miss some per cent of the heat.
    """
    step = np.diff(time)
    offset = step[:, None] * (0.5 + np.array([-0.5, 0.5]) / np.sqrt(3))
    slope = PchipInterpolator(time, field, axis=0).derivative()
    return slope((time[:-1, None] + offset).ravel()), np.repeat(step / 2, 2)


def _second_moments(points: Array, weights: Array) -> Array:
    """Second moments (k, 3, 3) [m^2] of points (p, 3) with weights (k, p) about their mean."""
    total = np.maximum(weights.sum(axis=1), 1e-300)
    mean = weights @ points / total[:, None]
    square = np.einsum("kp,pi,pj->kij", weights, points, points, optimize=True)
    moment: Array = square / total[:, None, None] - mean[:, :, None] * mean[:, None, :]
    return moment


def _fastest(inside: _Inside, total: Array) -> float:
    """Largest rate [1/s] of the run: root mean square of B' over that of the largest change."""
    change = inside.field - inside.field[0]
    largest = np.max(np.einsum("p,kpi->k", inside.volume, change**2))
    return float(np.sqrt(total.max() / largest)) if largest > 0 else 0.0


def _permeability(body: Body, inside: _Inside) -> float:
    """Largest B/H [H/m] that the mean magnetisation passes through; mu_0 where there is none."""
    if not body.is_soft or body.material.curve is None:
        return MU_0
    curves = compiled_curves([body.material.curve])
    size = np.linalg.norm(inside.field, axis=2) @ inside.volume / inside.volume.sum() / MU_0
    chords = [m / crossing(curves, 0, 0.0, 1.0, float(m), 1.0) for m in size if m > 0]
    return MU_0 * (1 + float(max(chords, default=0.0)))


def _frames(run: Trajectory) -> Array:
    """Numbers of the frames from release, or the last change of a current, to the first blow, one a
    moment, no more than enough: what a change itself induces is left out."""
    end = run.impacts[0].time if run.impacts else run.time[-1]
    changes = change_moments(run.system.bodies)
    since = float(changes[changes < end].max(initial=-1.0))
    chosen = [int(np.searchsorted(run.time, since, side="right")) - 1 if since >= 0 else 0]
    for k in range(chosen[0] + 1, len(run.time)):
        if run.time[chosen[-1]] < run.time[k] <= end:
            chosen.append(k)
    stride = -(-len(chosen) // MOST_FRAMES)
    return np.array(chosen[::-1][::stride][::-1])


def _inside(run: Trajectory, number: int, frames: Array) -> _Inside:
    body = run.system.bodies[number]
    if body.is_soft:
        cells = run.cells[body.name]
        field = MU_0 * run.magnetisation[body.name][frames]
        return _Inside(cells.position, cells.volume, field)
    bodies = standing_at(run.system, float(run.time[frames[0]])).bodies
    points, volume = magnet_pair.quadrature(body.shape, POINT_ORDER)
    sources = {
        i: magnet_set([source_of(other)], [other.magnetisation])
        for i, other in enumerate(bodies)
        if other.is_magnet and i != number
    }
    field = np.stack([_field(run, number, k, points, sources) for k in frames])
    return _Inside(points, volume, field)


def _field(
    run: Trajectory, number: int, frame: int, points: Array, sources: Mapping[int, MagnetSet]
) -> Array:
    """B (p, 3) [T] of all other bodies at points (p, 3) [m] of one body, both in its axes."""
    place, turn = run.position[frame], run.quaternion[frame]
    world = place[number] + rotations.rotate(turn[number], points)
    total = np.zeros_like(world)
    for i, source in sources.items():
        total += source.field_and_gradient(place[i : i + 1], turn[i : i + 1], world)[0]
    for i, body in enumerate(run.system.bodies):
        if body.is_soft and i != number:
            moment = run.cells[body.name].volume @ run.magnetisation[body.name][frame]
            total += _dipole(world - place[i], rotations.rotate(turn[i], moment))
    return MU_0 * rotations.rotate_back(turn[number], total)


def _dipole(r: Array, moment: Array) -> Array:
    """H (p, 3) [A/m] of a moment (3,) [A m^2] at r (p, 3) [m] (Jackson, 3rd ed., eq. 5.56)."""
    distance = np.linalg.norm(r, axis=1)[:, None]
    along = (r @ moment)[:, None] / distance**2
    field: Array = (3 * along * r - moment) / (4 * np.pi * distance**3)
    return field


def _entries(losses: list[EddyLoss], unknown: list[str], released: float) -> dict[str, float | str]:
    found: dict[str, float | str] = {}
    if losses:
        worst = max(losses, key=lambda x: x.energy)
        energy = sum(x.energy for x in losses)
        share = energy / released if released > 0 else float("nan")
        found |= {
            "eddy_loss_J": energy,
            "eddy_loss_fraction": share,
            "eddy_body": worst.body,
            "diffusion_time_s": worst.diffusion_time,
            "skin_depth_m": worst.skin_depth,
        }
    if unknown:
        found["eddy_unknown"] = ", ".join(unknown)
    return found
