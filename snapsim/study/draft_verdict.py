"""What happens if everything is let go now: a cheap draft release, its error on the unsafe side.

Draft cells, long steps, and the run ends with the first snap (a part strikes a magnet, or as a
magnet iron), so what follows is not seen. Where nothing snaps it is run once more with the pull
raised by the most that draft cells leave it low where it starts and where it comes nearest to a
magnet (`pose_accuracy`), along the same paths as in `letting_go`: a snap there is told as one that
may happen, never as none. What came to rest is knocked slightly (`run.knock`), in both: a part that
only stands balanced, such as a ball midway between two magnets, does not stay on any stage.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.mechanics.ending import EndReason
from snapsim.run.fate import attracting, judged
from snapsim.run.knock import knocked
from snapsim.run.release import ReleaseProgress, not_interrupted, release, shared_loads
from snapsim.simulation.closing_gaps import Closing, closings
from snapsim.simulation.fate import Fate, FateKind
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.refinement import FLOOR
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.study.answer import passed_limits
from snapsim.study.letting_go import MOST_STRONGER, STEPPED, weaker_gravity

WORST_FIRST = (
    FateKind.SNAPS,
    FateKind.FAILED,
    FateKind.UNDECIDED,
    FateKind.GOES_AWAY,
    FateKind.FALLS_BACK,
    FateKind.STAYS,
)
"""Of several parts the first of these is told."""


@dataclass(frozen=True)
class DraftVerdict:
    """`part` is the one whose `fate` is worst; `error` the share by which the pull may be low, and
    `snaps_if_stronger` whether it snaps where it is. `closings` are the gaps that close, at hands
    and between parts, `limits` those passed, `held` the holds that had not let go at the end."""

    part: str
    fate: Fate
    error: float
    snaps_if_stronger: bool
    closings: tuple[Closing, ...]
    limits: tuple[str, ...]
    held: tuple[str, ...]
    untrusted: bool
    knocked: tuple[str, Fate] | None = None
    """What came to rest and a slight knock takes elsewhere, by name, and what becomes of it."""

    @property
    def closing(self) -> Closing | None:
        """The gap that closes to a finger's size with the least notice."""
        shut = [c for c in self.closings if np.isfinite(c.closed[-1])]
        return min(shut, key=lambda c: c.notice if np.isfinite(c.notice) else 0.0, default=None)


def draft_verdict(system: System, progress: ReleaseProgress | None = None) -> DraftVerdict | None:
    """Let go of everything as it stands; None where no free part is attracted by anything.

    Raises OverlapError where bodies stand in each other.
    """
    free = _drawn(system)
    if not free:
        return None
    rough = replace(system, detail="draft")
    loads = shared_loads(rough, STEPPED)

    def until(blow: Impact) -> EndReason | None:
        return _decided(system, free, blow)

    def until_snap(which: System) -> Trajectory:
        return not_interrupted(
            release(which, progress, STEPPED, None, until, False, False, False, loads=loads)
        )

    def tipped(calm: Trajectory) -> tuple[str, Fate] | None:
        more = knocked(calm, 1, STEPPED, loads, until)
        return None if more is None else _worst(not_interrupted(more), free)

    run = until_snap(rough)
    part, fate = _worst(run, free)
    error = pull_low_by(run)
    after, stronger = None, False
    if fate.kind is not FateKind.SNAPS:
        after = tipped(run)
        raised = until_snap(weaker_gravity(rough, error))
        stronger = _snaps(_worst(raised, free)) or _snaps(tipped(raised))
    return DraftVerdict(
        part, fate, error, stronger, tuple(closings(run)), tuple(passed_limits(run)), _held(run),
        run.outcome == "untrusted", after,
    )  # fmt: skip


def _snaps(found: tuple[str, Fate] | None) -> bool:
    return found is not None and found[1].kind is FateKind.SNAPS


def _drawn(system: System) -> list[int]:
    """Numbers of the free bodies that something draws."""
    return [
        i for i, b in enumerate(system.bodies)
        if not b.fixed and (b.is_soft or b.is_magnet) and attracting(system, i)
    ]  # fmt: skip


def pull_low_by(run: Trajectory) -> float:
    """Return the share by which the pull on any iron part may be low by its cells, at the start of
    a run and where its bodies came nearest."""
    system, most = run.system, FLOOR
    iron = [i for i, b in enumerate(system.bodies) if not b.fixed and system.has_cells(b)]
    if not iron:
        return most
    accuracy = PoseAccuracy(system)
    snapped = run.reason == EndReason.FATE_DECIDED  # at the magnet's edge no bar is of use
    nearest = 0 if snapped or not np.isfinite(run.gap).any() else int(np.nanargmin(run.gap))
    for k in {0, nearest}:
        pose = replace(system.start.pose, position=run.position[k], quaternion=run.quaternion[k])
        told = accuracy.at(pose)
        most = max(most, *(told.low_by(i) for i in iron))
    return min(most, MOST_STRONGER)


def _decided(system: System, free: list[int], blow: Impact) -> EndReason | None:
    for i in free:
        pair = {blow.body, blow.against}
        if system.bodies[i].name in pair and attracting(system, i) & pair:
            return EndReason.FATE_DECIDED
    return None


def _worst(run: Trajectory, free: list[int]) -> tuple[str, Fate]:
    fates = [(run.system.bodies[i].name, judged(run, i)) for i in free]
    return min(fates, key=lambda f: (WORST_FIRST.index(f[1].kind), f[1].time))


def _held(run: Trajectory) -> tuple[str, ...]:
    return tuple(
        j.name
        for j in run.system.joints
        if j.carries and j.name in run.loads and np.isnan(run.loads[j.name].parted)
    )
