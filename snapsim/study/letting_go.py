"""Letting go at rest from places of one part, to learn whether anything snaps: for margins.

The part is let go with all other free bodies, hands gone; any body that strikes a magnet (or, as a
magnet, iron) that it did not touch is a snap. Releases are made on draft cells with the pull at the
top of its cells' bar: where the pull is to be greater by the share e, gravity and what joints bear
are divided by 1 + e and time is stretched by its root, which leaves the same paths,

    m x'' = (1 + e) F + m g    <=>    m x'' = F + m g / (1 + e),    t -> t sqrt(1 + e),

exactly, however the iron saturates; so what was solved for one release serves all. What does not
come to rest in the time of the run is not taken as safe, but for what nothing brings to rest here
and goes to and fro (`to_and_fro`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.confirmation import Confirmation, LetGo, Ruling
from snapsim.landscape.place import Place, with_one_at
from snapsim.landscape.symmetry import turns_freely
from snapsim.landscape.thresholds import AT_MAGNET, FINENESS, Ways, kind_of, let_go_at
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.numerics import rotations
from snapsim.parts.states import State
from snapsim.run.fate import MOVED, attracting, judged
from snapsim.run.release import not_interrupted, release, shared_loads
from snapsim.run.steps import STEPS
from snapsim.simulation.current_stages import StagedLoads, later_currents, standing_at
from snapsim.simulation.fate import FateKind
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.refinement import FLOOR
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.study.coarse_first import COARSE

HALVINGS: Final = 4
"""Halvings of the bracket where a release is not safe."""

AWAY: Final = 0.25
"""Share of the last bracket by which the edge is drawn back from the last safe release."""

LONGEST: Final = 2.0
"""Time [s] that a release is followed at least: a part may rock for long before it rests."""

MOST_STRONGER: Final = 0.5
"""Share by which a pull is made greater at most: beyond it draft cells say nothing."""

FAINTLY: Final = 1.02
"""Ratio up to which what goes to and fro may differ from swing to swing."""

SPENT: Final = 1e-3
"""Share of the most kinetic energy met below which they hardly move."""

STEPPED: Final[MotionSettings] = replace(COARSE, rest=STEPS.rest)
"""Long steps, but a slow start is not called rest."""


class LettingGo:
    """Lets go of all free bodies from places of one of them; what is solved is kept, and may be
    shared as `loads`. `spent` counts releases."""

    def __init__(
        self, ways: Ways, places: Sequence[Place], loads: StagedLoads | None = None
    ) -> None:
        self.ways, self.body = ways, ways.body
        system = _hands_gone(ways.system)
        self.stronger = _stronger(system, ways, places)
        self.plain, self.system = system, weaker_gravity(system, self.stronger)
        self.loads = loads or shared_loads(self.system, STEPPED)
        self.free = [
            (i, b.name, attracting(system, i))
            for i, b in enumerate(system.bodies)
            if not b.fixed and attracting(system, i) and (b.is_soft or b.is_magnet)
        ]
        self.spent = 0

    def bracketed(
        self, way: PushWay | TiltWay, pair: tuple[LetGo, LetGo], tried: list[LetGo]
    ) -> Confirmation:
        """Return what is said of a way with one release that was safe and, beyond it, one that was
        not: the bracket is halved and its edge drawn back."""
        safe, worst = pair
        width = 4 * FINENESS["turn" if kind_of(way) == "tilt" else "shift"]
        for _ in range(HALVINGS):
            if abs(worst.s - safe.s) < width:
                break
            one = self.on(way, 0.5 * (safe.s + worst.s))
            if one is None:
                break
            tried.append(one)
            safe, worst = (one, worst) if one.safe else (safe, one)
        edge = max(safe.s - AWAY * (worst.s - safe.s), 0.0)
        if worst.kind is FateKind.SNAPS and self.stronger > FLOOR:
            worst = replace(worst, alike=not self._as_computed(way, worst.s))
        return self.ruled(edge, worst, tried)

    def ruled(self, edge: float | None, worst: LetGo, tried: Sequence[LetGo]) -> Confirmation:
        """Return what is said of a way where `worst` was not safe."""
        snaps = worst.kind in (FateKind.SNAPS, FateKind.TOUCHES)
        ruling = Ruling.SNAPS if snaps else Ruling.UNKNOWN
        return Confirmation(ruling, edge, worst, tuple(tried), self.stronger)

    def on(self, way: PushWay | TiltWay, s: float) -> LetGo | None:
        """Let go at s; None where the part cannot be there."""
        place = let_go_at(way, s)
        room = None if place is None else self.ways.constraints.restored(place, 2e-3)
        return None if room is None else self.at(room, s)

    def _as_computed(self, way: PushWay | TiltWay, s: float) -> bool:
        """Whether it is safe at s with the pull as it is computed."""
        self.system, kept = self.plain, self.system
        one = self.on(way, s)
        self.system = kept
        return one is None or one.safe

    def at(self, place: Place, s: float) -> LetGo:
        """Let go with the body at a place."""
        self.spent += 1
        if self.ways.gap(place) < AT_MAGNET:
            return LetGo(s, FateKind.TOUCHES)
        pose = with_one_at(self.system.start.pose, self.body, place)
        still = np.zeros_like(pose.position)
        now = replace(self.system, start=State(pose, still, still))
        run = release(
            now, settings=STEPPED, until=self._decided, frames=False, magnetisation=False,
            loads=self.loads,
        )  # fmt: skip
        return self._told(not_interrupted(run), s)

    def _decided(self, impact: Impact) -> EndReason | None:
        return None if self._snapping(impact) is None else EndReason.FATE_DECIDED

    def _snapping(self, impact: Impact) -> tuple[int, str] | None:
        """Number of the body that snaps in a blow, and what it strikes."""
        for i, name, magnets in self.free:
            for one, other in ((impact.body, impact.against), (impact.against, impact.body)):
                if one == name and other in magnets and not impact.struck_through:
                    return i, other
        return None

    def _told(self, run: Trajectory, s: float) -> LetGo:
        moved = _moved(run)
        blows = (self._snapping(i) for i in run.impacts)
        blow = next((b for b in blows if b is not None), None)
        if blow is not None and run.outcome != "untrusted":
            i, struck = blow
            name, turned = run.system.bodies[i].name, _turned(run, i)
            return LetGo(s, FateKind.SNAPS, name, struck, turned, moved=moved)
        fates = [judged(run, i) for i, _, _ in self.free]
        worst = next((f for f in fates if LetGo(s, f.kind).safe is False), None)
        if worst is None:
            mine = next(f for f, (i, _, _) in zip(fates, self.free, strict=True) if i == self.body)
            return LetGo(s, mine.kind, moved=moved)
        if worst.kind is FateKind.UNDECIDED and to_and_fro(run):
            return LetGo(s, FateKind.FALLS_BACK, moved=moved)
        name = self.free[fates.index(worst)][1]
        return LetGo(s, worst.kind, name, worst.struck, moved=moved)


def _hands_gone(system: System) -> System:
    """The scene on draft cells without hands, followed long enough."""
    joints = tuple(j for j in system.joints if not j.carries)
    longer = max(system.duration, LONGEST)
    system = standing_at(system, 0.0)
    return replace(system, joints=joints, detail="draft", duration=longer)


def weaker_gravity(system: System, stronger: float) -> System:
    """Return the scene in which the same paths are run as with a pull greater by a share."""
    less = 1.0 / (1.0 + stronger)
    joints = tuple(j.with_loads(less) for j in system.joints)
    slower = float(np.sqrt(1.0 + stronger))
    return replace(
        later_currents(system, slower),
        gravity=less * system.gravity, joints=joints, duration=slower * system.duration,
    )  # fmt: skip


def _stronger(system: System, ways: Ways, places: Sequence[Place]) -> float:
    """By which share the pull on the part may be greater than draft cells find it: the most of some
    places and the present one."""
    if not any(system.has_cells(b) for b in system.bodies):
        return FLOOR
    accuracy, body = PoseAccuracy(system), ways.body
    most = FLOOR
    for place in (ways.place, *places):
        told = accuracy.at(with_one_at(system.start.pose, body, place))
        most = max(most, told.low_by(body))
    return min(most, MOST_STRONGER)


def _moved(run: Trajectory) -> tuple[str, ...]:
    """Names of the bodies that moved by more than `MOVED` of their size."""
    gone: Array = np.linalg.norm(run.position - run.position[0], axis=2).max(axis=0)
    bodies = run.system.bodies
    return tuple(
        b.name
        for b, way in zip(bodies, gone.tolist(), strict=True)
        if not b.fixed and way > MOVED * float(b.shape.extents.max())
    )


def _turned(run: Trajectory, body: int) -> float:
    """Angle [rad] between a body's first and last pose."""
    first, last = run.quaternion[0, body], run.quaternion[-1, body]
    return float(np.linalg.norm(rotations.vector_between(first, last)))


def to_and_fro(run: Trajectory) -> bool:
    """Return whether parts that nothing brings to rest here (balls that roll, what swings on
    joints) go to and fro: they have turned back twice, or hardly move any more, and in the second
    half of the time were no faster and no nearer to a magnet than in the first."""
    system = run.system
    free = [i for i, b in enumerate(system.bodies) if not b.fixed]
    held = {i for j in system.joints for i in j.bodies}
    if not all(i in held or turns_freely(system.bodies[i]) for i in free):
        return False
    late = run.time > 0.5 * run.time[-1]
    mass = np.sqrt([system.bodies[i].mass for i in free])[:, None]
    reach = np.array([np.sqrt(np.trace(system.bodies[i].shape.gyration) / 3) for i in free])
    motion = [mass * run.velocity[:, free], mass * reach[:, None] * run.spin[:, free]]
    whole = np.concatenate(motion, axis=2).reshape(len(run.time), -1)
    energy = (whole**2).sum(axis=1)
    along = whole @ whole[int(np.argmax(energy))]
    signs = np.sign(along[np.abs(along) > 1e-3 * np.abs(along).max()])
    calmer = energy[late].max() <= FAINTLY * energy[~late].max()
    off = FAINTLY * run.gap[late].min() >= run.gap[~late].min()
    turned_back = (np.diff(signs) != 0).sum() >= 2
    return bool(calmer and off and (turned_back or energy[late].max() < SPENT * energy.max()))
