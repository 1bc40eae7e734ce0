"""Twins of a release: the same scene begun a millionth otherwise, to see which figures repeat.

Speeds and spins at the start differ by `SIZE` of sqrt(g L) and sqrt(g/L), L a body's size, places
and turns of bodies without joints by `SIZE` of L and of a radian, and gravity by `SIZE` of itself
in length and direction, all at random: no symmetry of the scene is left. A twin uses the solved
poses of the run itself, so it costs next to no field evaluations.

Where all came to rest, each twin is knocked (`run.knock`); one that goes elsewhere then counts with
what became of it. A twin that comes to no rest where the run has come to one shows a balance as
well: it is taken for the run with the knock, which does not take as long to fall.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.mechanics.spanned_area import spanned_area
from snapsim.numerics import rotations
from snapsim.numerics.between_frames import hermite, stretches, turned
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose, State
from snapsim.run.figures_read import SLOW, readings
from snapsim.run.knock import angle, bare, direction, elsewhere, knocked
from snapsim.run.release import ReleaseProgress, release, shared_loads
from snapsim.simulation.current_stages import StagedLoads
from snapsim.simulation.reproducibility import WITHIN, Lying, Manner, Output, Twins
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Load, Trajectory

SIZE: Final = 1e-6
"""Share by which a twin begins otherwise."""

PARTED: Final = 1e-3
"""Share of a body's size, and angle [rad], from which on two motions count as parted: a thousand
times `SIZE`, and a tenth of what a figure may differ by, since other twins part sooner."""

DEEP: Final = 5e-7
"""Depth [m] to which moving a body at the start may push it into another."""

NEAR: Final = 2e-5
"""Gap [m] up to which bodies count as touching at the end."""

STILL: Final = 0.02
"""Rim speed [m/s] below which a body counts as lying."""


def release_with_twins(
    system: System,
    twins: int,
    progress: ReleaseProgress | None = None,
    settings: MotionSettings | None = None,
    meshes: Mapping[int, CellMesh] | None = None,
) -> Trajectory:
    """Simulate a release and `twins` of it; return the run, with what they say in its `twins`.

    Without twins, or where the run itself was stopped or is not to be trusted, nothing is said; nor
    after an interrupt of the twins, since the run itself is whole.
    """
    return run_and_twins(system, twins, progress, settings, meshes)[0]


def run_and_twins(
    system: System,
    twins: int,
    progress: ReleaseProgress | None = None,
    settings: MotionSettings | None = None,
    meshes: Mapping[int, CellMesh] | None = None,
) -> tuple[Trajectory, bool]:
    """What `release_with_twins` returns, and whether the twins were interrupted."""
    loads = shared_loads(system, settings, meshes)
    run = release(system, progress, settings, meshes, loads=loads)
    if not twins or run.outcome in ("stopped", "untrusted"):
        return run, False
    try:
        return replace(run, twins=_twins_of(run, twins, settings, loads)), False
    except KeyboardInterrupt:
        return run, True


def _twins_of(
    run: Trajectory, twins: int, settings: MotionSettings | None, loads: StagedLoads
) -> Twins:
    """What twins say of a run; raises KeyboardInterrupt where one was interrupted."""
    others: list[Trajectory | None] = []
    tipped = 0
    for seed in range(1, twins + 1):
        other = bare(perturbed(run.system, seed), settings, loads)
        balanced = run.outcome == "settled" and _timed_out(other)
        rest = run if balanced else other
        after = knocked(rest, seed, settings, loads) if rest is not None else None
        if EndReason.INTERRUPTED in {r.reason for r in (other, after) if r is not None}:
            raise KeyboardInterrupt
        tipped += after is not None
        others.append(_joined(rest, after) if rest is not None and after is not None else other)
    return compared_twins(run, others, tipped)


def _timed_out(run: Trajectory | None) -> bool:
    return run is not None and run.reason == EndReason.TIME_UP


def _joined(run: Trajectory, more: Trajectory) -> Trajectory:
    """One run and what came after it, as far as readings look at it."""
    later = float(run.time[-1])

    def both(name: str) -> Array:
        return np.concatenate([getattr(run, name), getattr(more, name)])

    return replace(
        run,
        time=np.concatenate([run.time, later + more.time]),
        position=both("position"),
        quaternion=both("quaternion"),
        velocity=both("velocity"),
        spin=both("spin"),
        impacts=(*run.impacts, *(replace(i, time=later + i.time) for i in more.impacts)),
        loads={name: _later(load, more.loads[name], later) for name, load in run.loads.items()},
    )


def _later(load: Load, more: Load, after: float) -> Load:
    higher = max(load, replace(more, peak_time=after + more.peak_time), key=lambda x: x.peak_force)
    turned = max(load, more, key=lambda x: x.peak_torque)
    return replace(
        higher,
        peak_torque=turned.peak_torque,
        last_force=more.last_force,
        last_torque=more.last_torque,
    )


def perturbed(system: System, seed: int, size: float = SIZE) -> System:
    """Return the system with another start and gravity, by the share `size`, at random."""
    rng = np.random.default_rng(seed)
    start, pull = system.start, float(np.linalg.norm(system.gravity))
    velocity, spin = start.velocity.copy(), start.spin.copy()
    position, quaternion = start.pose.position.copy(), start.pose.quaternion.copy()
    jointed = {i for joint in system.joints for i in joint.bodies}
    for i, body in enumerate(system.bodies):
        if body.fixed:
            continue
        length = float(body.shape.extents.max())
        speed = size * math.sqrt(max(pull, 1.0) * length)
        velocity[i] += speed * rng.standard_normal(3)
        spin[i] += speed / length * rng.standard_normal(3)
        moved, turn = (
            size * length * direction(rng),
            rotations.from_rotation_vector(size * direction(rng)),
        )
        if i not in jointed:
            position[i] += moved
            quaternion[i] = rotations.normalise(rotations.multiply(turn, quaternion[i]))
    pose = Pose(position, quaternion)
    if _pushed_in(system, pose):
        pose = start.pose
    gravity = system.gravity + size * pull * rng.standard_normal(3)
    return replace(system, start=State(pose, velocity, spin), gravity=gravity)


def _pushed_in(system: System, pose: Pose) -> bool:
    geometry = ContactGeometry(system.bodies, system.surfaces)
    return geometry.depth(pose) > max(DEEP, geometry.depth(system.start.pose))


def compared_twins(run: Trajectory, others: Sequence[Trajectory | None], tipped: int = 0) -> Twins:
    """Return what the twins of a run say of it; None, or one not to be trusted, has failed.

    `tipped` of them were taken elsewhere by a knock.
    """
    sound = [o for o in others if o is not None and o.outcome not in ("stopped", "untrusted")]
    own, theirs = readings(run), [readings(other) for other in sound]
    outputs = {
        name: Output(
            one.value,
            tuple(r[name].value if name in r else math.nan for r in theirs),
            one.scale,
            one.time,
        )
        for name, one in own.items()
    }
    outputs |= _turns(run, sound)
    return Twins(
        asked=len(others),
        failed=len(others) - len(sound),
        size=SIZE,
        apart=min((parting(run, other) for other in sound), default=math.inf),
        blows=min((_blows_alike(run, other) for other in sound), default=0),
        outputs=outputs,
        lying=_lying([run, *sound]),
        tipped=tipped,
        hardest=tuple(
            max(o.impacts, key=lambda i: i.effective_energy, default=None) for o in sound
        ),
    )


def _turns(run: Trajectory, others: Sequence[Trajectory]) -> dict[str, Output]:
    """How far each body is turned at the end: its own turn counts as 0, others by the angle."""
    end = float(run.time[-1])
    return {
        f"bodies.{body.name}.final_quaternion": Output(
            0.0,
            tuple(
                float(angle(body, run.quaternion[-1:, i], other.quaternion[-1:, i])[0])
                for other in others
            ),
            1.0,
            end,
        )
        for i, body in enumerate(run.system.bodies)
        if not body.fixed
    }


def parting(run: Trajectory, other: Trajectory) -> float:
    """Return when [s] a body of two runs is first `PARTED` of its size elsewhere, or that angle
    [rad] turned otherwise; inf where none ever is.

    Turns that a body of revolution hides are not looked at, unless it is a magnet.
    """
    shared = run.time <= other.time[-1]
    time = run.time[shared]
    at = stretches(other.time, time)
    first = math.inf
    for i, body in enumerate(run.system.bodies):
        if body.fixed:
            continue
        p, q = other.position[:, i], other.quaternion[:, i]
        v, w = other.velocity[:, i], other.spin[:, i]
        given = at.span[:, None], at.share[:, None]
        place = hermite(p[at.before], p[at.after], v[at.before], v[at.after], *given)
        turn = turned(q[at.before], q[at.after], w[at.before], w[at.after], *given)
        away = np.linalg.norm(place - run.position[shared, i], axis=1)
        off = (away > PARTED * float(body.shape.extents.max())) | (
            angle(body, run.quaternion[shared, i], turn) > PARTED
        )
        if off.any():
            first = min(first, float(time[int(off.argmax())]))
    if run.time[-1] - other.time[-1] > WITHIN * run.time[-1]:  # one has come to rest, one goes on
        first = min(first, float(other.time[-1]))
    return min(first, float(run.time[-1])) if elsewhere(run, other) else first


def _blows_alike(run: Trajectory, other: Trajectory) -> int:
    """How many of the first blows are the same: who, how fast, when."""
    count = 0
    for a, b in zip(run.impacts, other.impacts, strict=False):
        near = [
            abs(x - y) <= WITHIN * max(abs(x), least)
            for x, y, least in ((a.closing_speed, b.closing_speed, SLOW), (a.time, b.time, SLOW))
        ]
        if {a.body, a.against} != {b.body, b.against} or not all(near):
            break
        count += 1
    return count


def _lying(runs: Sequence[Trajectory]) -> dict[str, tuple[Lying, ...]]:
    """How each free body ended in each run."""
    system = runs[0].system
    geometry = ContactGeometry(system.bodies, system.surfaces)
    each = [lying(run, geometry) for run in runs]
    return {b.name: tuple(e[b.name] for e in each) for b in system.bodies if not b.fixed}


def lying(run: Trajectory, geometry: ContactGeometry) -> dict[str, Lying]:
    """Return what each free body touches at the end of a run, and how."""
    bodies = run.system.bodies
    found = geometry.contacts(Pose(run.position[-1], run.quaternion[-1]), NEAR)
    touches: dict[int, list[tuple[str, Manner]]] = {i: [] for i in range(len(bodies))}
    for a, b in sorted({(int(p[0]), int(p[1])) for p in found.pair}):
        mine = (found.pair == (a, b)).all(axis=1)
        manner = _manner(found.point[mine], found.normal[mine][0], bodies[a], bodies[b])
        touches[a].append((bodies[b].name, manner))
        touches[b].append((bodies[a].name, manner))
    size = [float(b.shape.extents.max()) for b in bodies]
    speed = np.linalg.norm(run.velocity[-1], axis=1) + size * np.linalg.norm(run.spin[-1], axis=1)
    return {
        b.name: Lying(tuple(touches[i]), bool(speed[i] > STILL))
        for i, b in enumerate(bodies)
        if not b.fixed
    }


def _manner(points: Array, normal: Array, one: Body, other: Body) -> Manner:
    """Flat where the touching points span an area, on an edge where they span a line."""
    size = min(float(one.shape.extents.max()), float(other.shape.extents.max()))
    if spanned_area(points, normal) > WITHIN * size**2:
        return Manner.FLAT
    span = float(np.ptp(points, axis=0).max()) if len(points) > 1 else 0.0
    return Manner.EDGE if span > WITHIN * size else Manner.POINT
