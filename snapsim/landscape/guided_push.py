"""The push along the one freedom that joints leave a part, from rest to where a snap may begin.

A hinge leaves a turn, a rail a shift: one coordinate s [rad, m], on which a hand gives P [N m, N].
Against field, weight, contacts and the joint's own friction (Coulomb, both) a slow push needs

    F(s) = least P that moves the part on from rest at s,       W(s) = integral of F from 0 to s.

Slowly it takes the largest F on the way. A push P that is kept up from rest gains speed, and passes
every s where P s > W(s), so

    P = max over 0 < s <= s_snap of W(s) / s

is enough: never more than the slow one, half of it against a spring. A knock takes the largest W.
Valid for one rigid part, all others held; source: work and energy of a load put on suddenly
(Timoshenko, Strength of Materials, part I, 3rd ed. 1955, chapter 11, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import HELD, creep_step
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place, metric
from snapsim.landscape.slipping import push_to_move
from snapsim.landscape.thresholds import MeasuredWay, RefinedQuantity, Threshold, Ways
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.numerics import rotations

PLACES: Final = 24
"""Places looked at along a way."""

FINEST: Final = 1e-4
"""Share of the load at hand to which a push is found."""

STEP: Final = 1e-4
"""Step [m] of the first motion."""


@dataclass(frozen=True)
class GuidedPush:
    """A push along the freedom of `joints` (names): a turn about `direction` (3,) where `turns`,
    else a shift along it; forces in N, of a turn torques in N m about the hinge.

    `starts`: what moves it from rest. Up to `until` [m, rad]: `slow`, the largest that a slow push
    needs, `slow_at` where; `kept_up`, the least that is enough if it is kept up from rest; `work`
    [J] of a knock. `snaps`: a snap may begin at `until`; else none was found as far as that.
    `farthest` [m]: from the hinge to the part's farthest point, 0 on a rail.
    """

    joints: tuple[str, ...]
    direction: Array
    turns: bool
    starts: RefinedQuantity
    until: float
    slow: RefinedQuantity
    slow_at: float
    kept_up: RefinedQuantity
    work: RefinedQuantity
    snaps: bool
    farthest: float

    @property
    def least(self) -> float:
        """The push that may be enough if it is kept up: error bar taken off."""
        return least_of(self.kept_up)


def least_of(push: RefinedQuantity) -> float:
    """Return the least that a figure may be: its error bar taken off."""
    return max(push.value - push.error, 0.0)


@dataclass(frozen=True)
class _Need:
    """F at places s (k,) and its integral W (k,)."""

    s: Array
    force: Array
    work: Array

    @property
    def kept_up(self) -> float:
        """The least push that passes all places, from rest."""
        mean = self.work[1:] / self.s[1:]
        return max(float(mean.max(initial=0.0)), float(self.force[0]), 0.0)


def guided_pushes(ways: Ways, found: Sequence[MeasuredWay]) -> tuple[GuidedPush, ...]:
    """Return the push along every measured way of a part that is at rest and has one freedom left
    by joints, those that end in a snap first, the least of them first; none for any other part."""
    if not has_one_freedom(ways.constraints, ways.place):
        return ()
    if push_to_move(ways.fine, ways.constraints, ways.place):
        return ()
    pushes = [_guided(ways, way, t) for way, t in found if not t.snaps_now and t.searched > 0]
    return tuple(sorted(pushes, key=lambda one: (not one.snaps, one.least)))


def has_one_freedom(constraints: Constraints, place: Place) -> bool:
    """Return whether joints leave the part one way to go, a turn or a shift."""
    rows = constraints.limits(place, 1e-6).equality
    return len(rows) > 0 and int(np.linalg.matrix_rank(rows, tol=1e-6)) == 5


def _guided(ways: Ways, way: PushWay | TiltWay, t: Threshold) -> GuidedPush:
    until = t.searched if t.least is None else min(t.least, t.searched)
    rough, near = (_needed(x, ways.constraints, way, until) for x in (ways.coarse, ways.fine))
    turns = isinstance(way, TiltWay)
    at = int(np.argmax(near.force))
    return GuidedPush(
        joints=tuple(j.name for _, j in ways.constraints.joints),
        direction=way.axis if isinstance(way, TiltWay) else way.direction,
        turns=turns,
        starts=ways.quantity(max(rough.force[0], 0.0), max(near.force[0], 0.0)),
        until=until,
        slow=ways.quantity(max(rough.force.max(), 0.0), max(near.force.max(), 0.0)),
        slow_at=float(near.s[at]),
        kept_up=ways.quantity(rough.kept_up, near.kept_up),
        work=ways.quantity(max(rough.work.max(), 0.0), max(near.work.max(), 0.0)),
        snaps=t.least is not None,
        farthest=_farthest(ways, way) if isinstance(way, TiltWay) else 0.0,
    )


def _farthest(ways: Ways, way: TiltWay) -> float:
    """How far the part's farthest point is from the hinge's axis [m]."""
    corners = rotations.rotate(ways.place.quaternion, ways.fine.body.shape.surface(24)[0])
    arm = ways.place.position + corners - way.pivot_at(0.0)
    across = arm - (arm @ way.axis)[:, None] * way.axis
    return float(np.linalg.norm(across, axis=1).max())


def _needed(
    landscape: EnergyLandscape, constraints: Constraints, way: PushWay | TiltWay, until: float
) -> _Need:
    s, force = [], []
    for x in np.linspace(0.0, until, PLACES + 1).tolist():
        place = way.at(x)
        if place is not None:
            s.append(x)
            force.append(_need(landscape, constraints, way, x, place))
    at, needed = np.array(s), np.array(force)
    work = np.concatenate([[0.0], np.cumsum(np.diff(at) * 0.5 * (needed[1:] + needed[:-1]))])
    return _Need(at, needed, work)


def _need(
    landscape: EnergyLandscape,
    constraints: Constraints,
    way: PushWay | TiltWay,
    s: float,
    place: Place,
) -> float:
    """Return F(s): less than nothing where the part goes on by itself."""
    level, limits = landscape.at(place), constraints.limits(place, 1e-5)
    along, push = _motion(way, s, place)
    measure = metric(landscape.body, place)

    def goes_on(p: float) -> bool:
        pushed = replace(level, slope=level.slope - p * push)
        step = creep_step(landscape, place, pushed, limits, STEP)
        return step.share >= HELD and float(step.d @ measure @ along) > 0

    least = float(level.slope @ along)
    if limits.gap.min(initial=np.inf) < 1e-5:
        scale = float(np.abs(level.slope).sum()) + abs(least)
        return _least(goes_on, least, max(scale, 1e-9))
    return least + limits.rubbing(level.load + least * push, along)


def _motion(way: PushWay | TiltWay, s: float, place: Place) -> tuple[Array, Array]:
    """The change of place (6,) per s, and what a push of one is (6,) [N, N m]."""
    if isinstance(way, TiltWay):
        return way.motion(place, s), np.concatenate([np.zeros(3), way.axis])
    along = np.concatenate([way.direction, np.zeros(3)])
    return along, along


def _least(goes_on: Callable[[float], bool], free: float, scale: float) -> float:
    """The least push with which it goes on, from what it takes without contacts."""
    low, high, width = free - FINEST * scale, free + FINEST * scale, FINEST * scale
    while goes_on(low) and width < 1e3 * scale:
        low, high, width = low - 2 * width, low, 2 * width
    while not goes_on(high) and width < 1e3 * scale:
        low, high, width = high, high + 2 * width, 2 * width
    while high - low > FINEST * scale:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if goes_on(middle) else (middle, high)
    return high
