"""The order in which a film tells a run: a question, the whole of it in real time with the hit in
it, then again, slow where something happens, frozen at the blow, and how it ends.

What is slow follows from the run's events (`events.py`). A slowdown takes its own clip seconds, the
run's time by its factor, or as much slower as a shorter event asks for; what matters more goes
first where two overlap. Between them time runs in real time, eased; see `timeline` for the ramps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from snapsim.render.events import Event, EventKind, find_events
from snapsim.render.lines import StoryLine, line_of, question_of
from snapsim.render.timeline import (
    ROUNDING,
    VEIL,
    ClipPiece,
    Extras,
    Timeline,
    play,
    stand,
)
from snapsim.simulation.trajectory import Trajectory

QUESTION: Final = 2.0
AFTER: Final = 0.3  # s of real time shown after the main blow
RAMP: Final = 0.25
READING: Final = 1.2  # shortest clip seconds for a line
LASTING: Final = 4.0  # longest
SLOWEST: Final = 200.0
BLOW_READ: Final = 1.0  # clip seconds after its freeze before a blow's line may give way
LEFT_OUT: Final = 1.5  # s of rattle from which on the rest of a run is left out
REST: Final = 2.2  # clip seconds in which the end stands
APART: Final = 1e-3  # s between blows of runs abreast below which they share one freeze


@dataclass(frozen=True)
class Pace:
    """How an event is told: `factor` times slower, for `seconds` of clip, `rank` before others."""

    factor: float
    seconds: float
    rank: int


PACES: Final[dict[EventKind, Pace]] = {
    EventKind.APPROACH: Pace(100.0, 2.0, 0),
    EventKind.RIGHTING: Pace(20.0, 3.0, 1),
    EventKind.PARTING: Pace(10.0, 2.5, 2),
    EventKind.OTHER_BLOW: Pace(100.0, 2.0, 3),
    EventKind.GIVING_WAY: Pace(5.0, 1.5, 4),
    EventKind.LET_GO: Pace(5.0, 1.5, 5),
    EventKind.LIFT_OFF: Pace(5.0, 1.5, 6),
    EventKind.RESISTING: Pace(5.0, 1.5, 7),
    EventKind.DRIFTING: Pace(2.0, 3.0, 8),
    EventKind.BRAKING: Pace(10.0, 3.0, 9),
    EventKind.ROCKING: Pace(5.0, 3.0, 10),
}
WHOLE: Final = (PACES[EventKind.APPROACH].rank, PACES[EventKind.ROCKING].rank)
"""Told however short; others, where they would have to be slower than 1/SLOWEST, are not."""
ORDER: Final = (
    EventKind.IMPACT,
    EventKind.REST,
    EventKind.OTHER_BLOW,
    EventKind.GIVING_WAY,
    *PACES,
)
"""Whose words stand where two have no time to be read."""


@dataclass(frozen=True)
class Section:
    """A stretch of the run's time [s] that is told at the rate `rate`."""

    start: float
    end: float
    rate: float


@dataclass(frozen=True)
class _Told:
    """An event of run number `run`, in the clip's simulated time."""

    event: Event
    run: int
    start: float
    end: float


def tell(
    runs: Sequence[Trajectory],
    lags: Sequence[float],
    extras: Extras,
    kinds: frozenset[EventKind] = frozenset(EventKind),
) -> Timeline:
    """Return the film of runs on one clock, each shown `lags` [s] later; only `kinds` are told."""
    told = [
        _Told(e, n, e.start + lag, e.end + lag)
        for n, (run, lag) in enumerate(zip(runs, lags, strict=True))
        for e in find_events(run)
        if e.kind in kinds or e.kind in (EventKind.RELEASE, EventKind.REST)
    ]
    end = max(float(run.time[-1]) + lag for run, lag in zip(runs, lags, strict=True))
    strikes = _strikes(told)
    pieces: list[ClipPiece] = []
    shot = 0
    stand(pieces, extras.title or READING, 0.0, "question" if extras.title else "release")
    if extras.replay:
        _real(pieces, end, strikes)
        shot = 1
    asked = len(pieces)
    _slow(pieces, told, end, strikes, extras.freeze, shot)
    if extras.card > 0:
        stand(pieces, extras.card, end, "card")
    line = Timeline(tuple(pieces), pieces[-1].until, max([1.0, *_slownesses(pieces[asked:])]))
    return Timeline(
        line.pieces, line.duration, line.slow_motion, tuple(_lines(runs, told, line, shot, extras))
    )


def _slownesses(pieces: Sequence[ClipPiece]) -> list[float]:
    return [1 / p.first for p in pieces if 0 < p.first == p.last]


def _strikes(told: Sequence[_Told]) -> list[float]:
    """Times of the main blows, those that fall together once."""
    found: list[float] = []
    for at in sorted(t.start for t in told if t.event.kind == EventKind.IMPACT):
        if not found or at - found[-1] > APART:
            found.append(at)
    return found


def _real(pieces: list[ClipPiece], end: float, strikes: Sequence[float]) -> None:
    """The run once in real time until a moment after its last main blow; it goes on while it gets
    dark, so that nothing is dark within that moment."""
    until = min(end, strikes[-1] + AFTER + VEIL) if strikes else end
    play(pieces, until, 1.0, 1.0)
    shown = until - strikes[-1] if strikes else until
    if shown < AFTER + VEIL:
        stand(pieces, AFTER + VEIL - shown, until, "hold")


def _slow(
    pieces: list[ClipPiece],
    told: Sequence[_Told],
    end: float,
    strikes: Sequence[float],
    freeze: float,
    shot: int,
) -> None:
    """The run again: slow in its sections, frozen at its blows, eased in between."""
    found = sections(told)
    begun = len(pieces)
    pieces.append(ClipPiece(pieces[-1].until, 0.0, 0.0, 0.0, 0.0, "replay", shot))
    over = 0.0
    rate = 0.0
    for section in found:
        _between(pieces, section.start - over, rate, section.rate, shot)
        _frozen(pieces, section, strikes, freeze, shot)
        over, rate = section.end, section.rate
    left = end - over
    if not found or left <= LEFT_OUT:
        _between(pieces, left, rate, 1.0, shot)
    elif rate > 0:
        play(pieces, RAMP * (rate + 1) / 2, rate, 1.0, "replay", shot)
    stand(pieces, REST, end, "rest", shot)
    del pieces[begun]


def sections(told: Sequence[_Told]) -> list[Section]:
    """Return what is told slowly, in order, without overlaps."""
    found: list[Section] = []
    for one in sorted(told, key=lambda t: (_rank(t.event.kind), t.start)):
        pace = PACES.get(one.event.kind)
        if pace is None:
            continue
        own = pace.seconds / pace.factor
        until = one.start + own if one.end <= one.start else min(one.end, one.start + own)
        start, until = _free(one.start, until, found)
        rate = min(1 / pace.factor, (until - start) / pace.seconds)
        if rate >= 1 / SLOWEST or (until - start > ROUNDING and pace.rank in WHOLE):
            found.append(Section(start, until, max(rate, 1 / SLOWEST)))
    return sorted(found, key=lambda s: s.start)


def _rank(kind: EventKind) -> int:
    return PACES[kind].rank if kind in PACES else len(PACES)


def _free(start: float, until: float, taken: Sequence[Section]) -> tuple[float, float]:
    """The first part of a stretch that no section has."""
    for section in sorted(taken, key=lambda s: s.start):
        if section.end <= start or section.start >= until:
            continue
        if section.start <= start:
            start = section.end
        else:
            until = section.start
    return start, until


def _between(pieces: list[ClipPiece], run: float, first: float, last: float, shot: int) -> None:
    """`run` seconds of the run's time between the rates `first` and `last`: up to real time and
    down again, as far as there is time for it."""
    if run <= ROUNDING:
        return
    up = RAMP * (first + 1) / 2 if 0 < first < 1 else 0.0
    down = RAMP * (1 + last) / 2 if last < 1 else 0.0
    top = 1.0
    if up + down > run:
        parts = (up > 0) + (down > 0)
        top = (2 * run / RAMP - (first if up else 0) - (last if down else 0)) / parts
        up = RAMP * (first + top) / 2 if up else 0.0
        down = run - up
        if top <= max(first if up else 0.0, last if down else 0.0):
            play(pieces, run, first or last, last, "replay", shot)
            return
    play(pieces, up, first, top, "replay", shot)
    play(pieces, run - up - down, top, top, "replay", shot)
    play(pieces, down, top, last, "replay", shot)


def _frozen(
    pieces: list[ClipPiece], section: Section, strikes: Sequence[float], freeze: float, shot: int
) -> None:
    """A section at its rate, standing still at the blows in it."""
    at = section.start
    for strike in strikes:
        if section.start < strike <= section.end + ROUNDING:
            play(pieces, strike - at, section.rate, section.rate, "replay", shot)
            if freeze > 0:
                stand(pieces, freeze, strike, "freeze", shot)
            at = strike
    play(pieces, section.end - at, section.rate, section.rate, "replay", shot)


def _lines(
    runs: Sequence[Trajectory], told: Sequence[_Told], line: Timeline, shot: int, extras: Extras
) -> list[StoryLine]:
    """All words: the question, and what is said of each run's events, one at a time."""
    found = []
    if extras.title > 0:
        found += [StoryLine(0.0, extras.title, "", question_of(r), n) for n, r in enumerate(runs)]
    before, rest = next((a, b) for a, b in pairwise(line.pieces) if b.kind == "rest")
    gone = rest.sim - before.sim_at(before.until)
    for n, run in enumerate(runs):
        own = []
        for one in told:
            said = line_of(one.event, run) if one.run == n else None
            if said is None:
                continue
            at, kind = line.clip_at(one.start, shot), one.event.kind
            if kind == EventKind.ROCKING:
                at += extras.freeze + BLOW_READ
            if kind == EventKind.REST:
                at = rest.clip
                said = (said[0], f"{said[1]}; {gone:.2g} s left out") if gone > ROUNDING else said
            own.append((at, kind, said))
        found += _readable(own, rest.until, n)
    return found


def _readable(
    own: list[tuple[float, EventKind, tuple[str, str]]], until: float, run: int
) -> list[StoryLine]:
    """Those lines that can be read; where two are too close the one that matters more stands."""
    kept: list[tuple[float, EventKind, tuple[str, str]]] = []
    for one in sorted(own, key=lambda o: (ORDER.index(o[1]), o[0])):
        if all(abs(one[0] - other[0]) >= READING - ROUNDING for other in kept):
            kept.append(one)
    kept.sort(key=lambda o: o[0])
    stops = [at for at, _, _ in kept[1:]] + [until]
    return [
        StoryLine(at, min(stop, at + LASTING), *said, run, kind)
        for (at, kind, said), stop in zip(kept, stops, strict=True)
        if stop > at
    ]
