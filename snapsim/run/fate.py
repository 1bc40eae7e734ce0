"""What becomes of a part that is let go: it snaps to a magnet, stays, falls back, or neither.

A part snaps if it strikes a body that attracts it: a magnet, or iron where the part itself is a
magnet. The release ends there: its fate is decided. It stays where it comes to rest within
`MOVED` of its size and `TURNED` of where it was, and falls back where it comes to rest elsewhere
without having struck a magnet; each is decided by the motion itself, not by its energy. Energy is
the kinetic energy of the body just before the first blow on a magnet or, without one, the largest
before any blow. A fate is that of the scene as described: material, friction and the way of letting
go vary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.motion_settings import NEARLY, MotionSettings
from snapsim.numerics import rotations
from snapsim.run.blow_error import low_by
from snapsim.run.release import not_interrupted, release
from snapsim.run.steps import STEPS
from snapsim.simulation.fate import Fate, FateKind
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory

MOVED: Final = 0.02
"""Share of its largest extent by which a part that stays may have moved."""

TURNED: Final = np.radians(1.0)
"""Angle [rad] by which it may have turned."""

INSIDE: Final = 1e-6
"""Depth [m] up to which an overlap at the start is rounding."""


def attracting(system: System, body: int) -> frozenset[str]:
    """Return the names of the bodies that attract body number `body`."""
    part = system.bodies[body]
    return frozenset(
        other.name
        for i, other in enumerate(system.bodies)
        if i != body and (other.is_magnet or (part.is_magnet and other.is_soft))
    )


def fate(system: System, body: int, settings: MotionSettings | None = None) -> Fate:
    """Let go of everything and return what becomes of body number `body`.

    Raises KeyboardInterrupt where the release was interrupted.
    """
    found = at_start(system, body)
    return judged(followed(system, (body,), settings), body) if found is None else found


def followed(
    system: System, bodies: Sequence[int], settings: MotionSettings | None = None
) -> Trajectory:
    """Let go of everything and follow it until one of some bodies, by number, snaps.

    Raises KeyboardInterrupt where the release was interrupted.
    """
    watched = [(system.bodies[i].name, attracting(system, i)) for i in bodies]

    def decided(impact: Impact) -> EndReason | None:
        snaps = any(_snap((impact,), *one) is not None for one in watched)
        return EndReason.FATE_DECIDED if snaps else None

    run = release(system, settings=settings, until=decided)
    return not_interrupted(run)


def judged(run: Trajectory, body: int) -> Fate:
    """Return the fate of body number `body` in a release."""
    if run.outcome == "untrusted":
        return Fate(FateKind.FAILED, lasted=float(run.time[-1]), ending=run.ending)
    name = run.system.bodies[body].name
    blow = _snap(run.impacts, name, attracting(run.system, body))
    if blow is not None:
        return _struck(FateKind.SNAPS, blow, name, run)
    mine = [i for i in run.impacts if name in (i.body, i.against)]
    hardest = max(mine, key=lambda i: i.kinetic_energy, default=None)
    return _struck(_kind(run, body), hardest, name, run)


def at_start(system: System, body: int) -> Fate | None:
    """Return the fate of body number `body` where it need not be let go; None where it must."""
    magnets = attracting(system, body)
    geometry = ContactGeometry(system.bodies, system.surfaces)
    for (a, b), gap in zip(geometry.pairs, geometry.gaps(system.start.pose), strict=True):
        names = system.bodies[int(a)].name, system.bodies[int(b)].name
        if gap < -INSIDE:
            return Fate(FateKind.NO_ROOM, overlap=names)
        if body in (a, b) and gap < NEARLY * STEPS.touch and magnets & set(names):
            other = names[0] if body == int(b) else names[1]
            if other in magnets:
                return Fate(FateKind.TOUCHES, other)
    return None


def _snap(impacts: tuple[Impact, ...], name: str, magnets: frozenset[str]) -> Impact | None:
    """The first blow of the body on one that attracts it."""
    for i in impacts:
        if (i.body == name and i.against in magnets) or (i.against == name and i.body in magnets):
            return i
    return None


def _struck(kind: FateKind, blow: Impact | None, name: str, run: Trajectory) -> Fate:
    lasted = float(run.time[-1])
    if blow is None:
        return Fate(kind, lasted=lasted, ending=run.ending)
    other = blow.against if blow.body == name else blow.body
    how = blow.kinetic_energy, blow.closing_speed, blow.time
    return Fate(kind, other, *how, lasted, run.ending, low_by=low_by(run, blow))


def _kind(run: Trajectory, body: int) -> FateKind:
    """The fate of a part that struck no magnet."""
    if run.outcome == "moving":
        return FateKind.UNDECIDED
    if run.outcome == "stopped":
        return FateKind.GOES_AWAY if run.reason == EndReason.LEFT_SCENE else FateKind.FAILED
    if _touches_at_end(run, body):
        return FateKind.SNAPS
    size = float(run.system.bodies[body].shape.extents.max())
    moved = np.linalg.norm(run.position[-1, body] - run.position[0, body])
    turn = rotations.matrix(run.quaternion[-1, body]) @ rotations.matrix(run.quaternion[0, body]).T
    turned = np.arccos(np.clip(0.5 * (np.trace(turn) - 1.0), -1.0, 1.0))
    return FateKind.STAYS if moved < MOVED * size and turned < TURNED else FateKind.FALLS_BACK


def _touches_at_end(run: Trajectory, body: int) -> bool:
    """Whether it came to lie at a magnet so gently that nothing was struck."""
    system = run.system
    pose = replace(system.start.pose, position=run.position[-1], quaternion=run.quaternion[-1])
    now = replace(system, start=replace(system.start, pose=pose))
    found = at_start(now, body)
    return found is not None and found.kind == FateKind.TOUCHES
