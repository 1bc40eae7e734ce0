"""Gaps that close on a finger or a hand: between two bodies, and at each marked place.

Of a pair of bodies that move, or of a `Hand`, the gap at every stored frame, when it passes the
size that matters, how fast, and what pulls it shut. A gap that is narrower than that size from the
start and narrows further counts as closed at the start: a fingertip may be in it already.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import ContactGeometry
from snapsim.parts.states import Pose
from snapsim.simulation.hands import closing_time, hand_gaps
from snapsim.simulation.trajectory import Trajectory

FINGER_GAP: Final = 0.025
"""Least gap that does not crush a finger [m]: ISO 13854:2017, table 1 (secondary source)."""

HAND_GAP: Final = 0.100
"""Least gap that does not crush a hand or fist [m]: ISO 13854:2017, table 1 (from memory)."""

NOTICE: Final = 0.075
"""Way [m] over which somebody may see a gap close: from a hand's size to a finger's."""

CREEP: Final = 0.1
"""Closing speed [m/s] below which nobody takes alarm: that of a hand that sets a part down (common
practice, no source)."""

SHUT: Final = 1e-3
"""Gap [m] that nothing fits in."""


@dataclass(frozen=True)
class Closing:
    """One gap that closes: at the `place` of a hand, or ("") between `bodies`, the mover first; the
    second is "" where a hand's place is in no body.

    `start`, `least` and `end` [m]; `sizes` [m], largest first, and when each was passed, `closed`
    [s] (nan: never), and the `notice` [s] of that for the smallest size (`notice_of`); `shut` [s]
    when it came below `SHUT`; `speed` [m/s] at which the smallest size was passed; `pull` [N], the
    largest magnetic force on the mover while the gap was below that size and not shut, and `hold`
    at the end, nan unless it is shut then.
    """

    place: str
    bodies: tuple[str, str]
    start: float
    least: float
    end: float
    sizes: tuple[float, ...]
    closed: tuple[float, ...]
    notice: float
    shut: float
    speed: float
    pull: float
    hold: float


def closings(run: Trajectory) -> tuple[Closing, ...]:
    """Return every gap that closes, hands first, then pairs of bodies, the soonest first."""
    hands = [_at_hand(run, k) for k in range(len(run.system.hands))]
    return (*(c for c in hands if c is not None), *sorted(_between(run), key=_soonest))


def _soonest(closing: Closing) -> float:
    return min((t for t in closing.closed if not math.isnan(t)), default=math.inf)


def _at_hand(run: Trajectory, number: int) -> Closing | None:
    """The gap at one hand; None where nothing can close on it."""
    found = hand_gaps(run)[number]
    if np.isnan(found.gap).all():
        return None
    other = int(found.nearest[int(np.nanargmin(found.gap))])
    hand = found.hand
    own = None if hand.body is None else run.system.number(hand.body)
    bodies, pair = run.system.bodies, (other, own)
    if own is not None and bodies[other].fixed and not bodies[own].fixed:
        pair = (own, other)
    return _closing(run, hand.name, pair, found.gap, (hand.gap,))


def _between(run: Trajectory) -> list[Closing]:
    """The gaps of all pairs of bodies that close to a finger's size or less."""
    geometry = ContactGeometry(run.system.bodies, run.system.surfaces)
    gaps = np.array(
        [geometry.gaps(Pose(p, q)) for p, q in zip(run.position, run.quaternion, strict=True)]
    )
    speed = np.linalg.norm(run.velocity, axis=2).max(axis=0)
    found = []
    for (a, b), gap in zip(geometry.pairs.tolist(), gaps.T, strict=True):
        mover, other = (a, b) if speed[a] >= speed[b] else (b, a)
        if gap.min() <= FINGER_GAP and gap[0] - gap.min() > SHUT:
            found.append(_closing(run, "", (mover, other), gap, (HAND_GAP, FINGER_GAP)))
    return found


def _closing(
    run: Trajectory, place: str, pair: tuple[int, int | None], gap: Array, sizes: Sequence[float]
) -> Closing:
    second = "" if pair[1] is None else run.system.bodies[pair[1]].name
    names = run.system.bodies[pair[0]].name, second
    force = np.linalg.norm(run.force[:, pair[0]], axis=1)
    shut = closes_at(run.time, gap, SHUT)
    closed = tuple(closes_at(run.time, gap, size) for size in sizes)
    last = closed[-1]
    while_closing = (run.time >= last) & ~(run.time > shut)  # nan: never shut
    ends_shut = gap[-1] <= SHUT
    return Closing(
        place,
        names,
        start=float(gap[0]),
        least=float(np.nanmin(gap)),
        end=float(gap[-1]),
        sizes=tuple(sizes),
        closed=closed,
        notice=notice_of(run.time, gap, sizes[-1]),
        shut=shut,
        speed=_speed(run.time, gap, last),
        pull=float(force[while_closing].max()) if while_closing.any() else math.nan,
        hold=float(force[-1]) if ends_shut and gap[0] > SHUT else math.nan,
    )


def closes_at(time: Array, gap: Array, size: float) -> float:
    """Return when a gap (k,) [m] passes `size` [s]; at the start where it is narrower and narrows
    further, nan where it never does."""
    if not len(gap) or np.isnan(gap).all():
        return math.nan
    if gap[0] <= size:
        return float(time[0]) if gap[0] - np.nanmin(gap) > SHUT else math.nan
    return closing_time(time, gap, size)


def notice_of(time: Array, gap: Array, size: float) -> float:
    """Return how long before a gap (k,) [m] passes `size` somebody can see that it does [s].

    Counted from the release, from when it was `NOTICE` wider, or from when it last closed slower
    than `CREEP`, whichever is latest: a part that crept up for a second and then leaps gives as
    little notice as one that leaps at once. Nan where it never passes `size`.
    """
    closed = closes_at(time, gap, size)
    if math.isnan(closed):
        return math.nan
    since = [float(time[0])]
    wide = np.flatnonzero((gap >= size + NOTICE) & (time <= closed))
    since += time[wide[-1:]].tolist()
    spans = np.diff(time)
    rate = -np.diff(gap)[spans > 0] / spans[spans > 0]
    ends = time[1:][spans > 0]
    slow = np.flatnonzero((rate < CREEP) & (ends < closed))
    if _speed(time, gap, closed) >= CREEP:
        since += ends[slow[-1:]].tolist()
    return closed - max(since)


def _speed(time: Array, gap: Array, at: float) -> float:
    """Rate [m/s] at which the gap closes at a time, from the frames around it."""
    if math.isnan(at):
        return math.nan
    k = max(1, int(np.searchsorted(time, at, side="left")))
    while k < len(time) - 1 and time[k] <= time[k - 1]:
        k += 1
    span = float(time[k] - time[k - 1])
    return float(gap[k - 1] - gap[k]) / span if span > 0 else math.nan
