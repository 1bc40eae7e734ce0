"""What must change: the value of a key of a scene from which on a condition holds.

The range is first looked at in `LOOK` equal steps; a condition that holds on one side and does not
on the other is then bracketed by halving. Holding that changes more than once over the range is
reported as it is, with no single value. What is found is confirmed by releases or margins at the
next finer detail on the side where the condition is to hold, stepping away from the bracket where
the finer cells contradict, so the value errs to that side. There "no snap" is to hold as well with
the pull at the top of its cells' bar; an energy and a pull-off carry theirs from the start.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from snapsim.errors import InputError, SnapsimError
from snapsim.landscape.force import force
from snapsim.landscape.rests import body_number
from snapsim.landscape.thresholds import KINDS, Ways
from snapsim.run.fate import fate, followed
from snapsim.scenario import options, quantities
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.spans import Span
from snapsim.simulation.fate import FateKind
from snapsim.simulation.system import System
from snapsim.study.confirmed_margin import confirmed
from snapsim.study.draft_verdict import pull_low_by
from snapsim.study.letting_go import weaker_gravity
from snapsim.study.place import set_down
from snapsim.work.progress import Progress

LOOK: Final = 6
"""Steps in which the range is looked at first."""

FINENESS: Final = 1 / 192
"""Width of the last bracket as a share of the range."""

AWAY: Final = 1 / 48
"""Share of the range by which a value that finer cells contradict is moved."""

MOST: Final = 8
"""Such moves at most."""

FINER: Final = {"draft": "normal", "normal": "fine", "fine": "fine"}

SNAPPING: Final = frozenset({FateKind.SNAPS, FateKind.TOUCHES, FateKind.UNDECIDED, FateKind.FAILED})
"""Fates with which "no snap" does not hold: what was not found is not taken as safe."""


class Asked(StrEnum):
    """What a condition is about."""

    NO_SNAP = "no snap"
    ENERGY = "energy"
    PULL_OFF = "pull-off"
    LIFT = "lift"
    APPROACH = "approach"
    PUSH = "push"
    TILT = "tilt"


class Search(StrEnum):
    """What came of a search."""

    FOUND = "found"
    ALWAYS = "always"
    NEVER = "never"
    NOT_MONOTONE = "not monotone"
    CONTRADICTED = "contradicted"
    """Finer cells did not confirm it within `MOST` moves."""


UNITS: Final = {
    Asked.ENERGY: quantities.ENERGY,
    Asked.PULL_OFF: quantities.FORCE,
    Asked.LIFT: quantities.LENGTH,
    Asked.APPROACH: quantities.LENGTH,
    Asked.PUSH: quantities.LENGTH,
    Asked.TILT: quantities.ANGLE,
}


@dataclass(frozen=True)
class Condition:
    """`asked`, and for all but "no snap" on which side (`most` or at least) of `limit` [SI]."""

    asked: Asked
    most: bool = False
    limit: float = 0.0
    text: str = ""

    def holds(self, measure: float) -> bool:
        """Whether a measure meets it; for "no snap" the measure is 1 where nothing snaps."""
        if self.asked is Asked.NO_SNAP:
            return measure > 0
        compare: Callable[[float, float], bool] = operator.le if self.most else operator.ge
        return compare(measure, self.limit)


@dataclass(frozen=True)
class Tried:
    """The condition's `measure` at one of the range's values, `numbers` in its unit, on cells of
    `detail`; None where the scene cannot be, with the `problem`."""

    numbers: tuple[float, ...]
    detail: str
    measure: float | None
    holds: bool
    problem: str = ""


@dataclass(frozen=True)
class FoundValue:
    """`outcome`; `value` (in `span`'s unit) is the last that was confirmed to hold, `beyond` the
    nearest that was seen not to; `rising` where greater values hold; all that was `tried`."""

    span: Span
    condition: Condition
    body: str
    outcome: Search
    value: tuple[float, ...] | None
    beyond: tuple[float, ...] | None
    rising: bool
    tried: tuple[Tried, ...]


@dataclass(frozen=True)
class Finding:
    """What is asked: a scene's text, the key's range, the condition; the rest as in `Against`."""

    scene: str
    file: str
    span: Span
    condition: Condition
    changes: tuple[str, ...] = ()
    body: str | None = None
    on: str | None = None


def read_condition(text: str) -> Condition:
    """Return the condition of "no snap", "energy <= 5 J", "tilt >= 20 deg" and the like."""
    asked_for = " ".join(text.split()).lower()
    if asked_for == Asked.NO_SNAP.value:
        return Condition(Asked.NO_SNAP, text=asked_for)
    found = re.fullmatch(r"([a-z-]+)\s*(<=|>=)\s*(.+)", asked_for)
    names = {a.value: a for a in UNITS}
    if found is None or found[1] not in names:
        allowed = ", ".join(
            f"{n} {'<=' if n in ('energy', 'pull-off') else '>='} ..." for n in names
        )
        raise InputError(
            f'"{text}" is no condition; write "no snap" or one of {allowed}', key="--so-that"
        )
    asked = names[found[1]]
    said = text.strip()[-len(found[3]) :]
    limit = options.quantity(said, UNITS[asked], "--so-that")[0]
    return Condition(asked, found[2] == "<=", limit, f"{found[1]} {found[2]} {said}")


def find_value(given: Finding, progress: Progress | None = None) -> FoundValue:
    """Return from which value on the condition holds; raises InputError for a bad first value."""
    return _Bracket(given, progress or (lambda what, done, of_all: None)).run()


class _Bracket:
    def __init__(self, given: Finding, progress: Progress) -> None:
        self.given, self.progress = given, progress
        system, body = self._system(0.0, None)
        self.detail, self.name = str(system.detail), system.bodies[body].name
        self.tried: dict[tuple[float, str], Tried] = {}

    def run(self) -> FoundValue:
        """Look, bracket, confirm."""
        shares = [k / LOOK for k in range(LOOK + 1)]
        held = []
        for k, share in enumerate(shares):
            self.progress("looking over the range", k, len(shares))
            held.append(self._try(share).holds)
        switches = [k for k in range(LOOK) if held[k] != held[k + 1]]
        rising = held[-1]
        if not switches:
            end = shares[-1] if held[0] else None
            return self._found(Search.ALWAYS if held[0] else Search.NEVER, end, None, rising)
        if len(switches) > 1:
            return self._found(Search.NOT_MONOTONE, None, None, rising)
        low, high = shares[switches[0]], shares[switches[0] + 1]
        while high - low > FINENESS:
            self.progress("bracketing", round(1 / (high - low)), round(1 / FINENESS))
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self._try(middle).holds == rising else (middle, high)
        inside, outside = (high, low) if rising else (low, high)
        return self._confirmed(inside, outside, rising)

    def _confirmed(self, inside: float, outside: float, rising: bool) -> FoundValue:
        """Move a value away from the bracket until finer cells agree."""
        finer = FINER.get(self.detail, self.detail)
        for k in range(MOST):
            self.progress(f"confirming with {finer} cells", k, MOST)
            if self._try(inside, finer).holds and not self._snaps_if_stronger(inside, finer):
                return self._found(Search.FOUND, inside, outside, rising)
            outside, inside = inside, inside + (AWAY if rising else -AWAY)
            if not 0.0 <= inside <= 1.0:
                break
        return self._found(Search.CONTRADICTED, None, outside, rising)

    def _found(
        self, outcome: Search, value: float | None, beyond: float | None, rising: bool
    ) -> FoundValue:
        return FoundValue(
            self.given.span,
            self.given.condition,
            self.name,
            outcome,
            None if value is None else self._numbers(value),
            None if beyond is None else self._numbers(beyond),
            rising,
            tuple(self.tried.values()),
        )

    # -- one value -------------------------------------------------------------------------------

    def _numbers(self, share: float) -> tuple[float, ...]:
        return self.given.span.at(share)

    def _system(self, share: float, detail: str | None) -> tuple[System, int]:
        changes = [*self.given.changes, *self.given.span.changes_at(share)]
        if detail is not None:
            changes.append(f'run.detail="{detail}"')
        system = scene_from_text(self.given.scene, self.given.file, tuple(changes))
        body = body_number(system, self.given.body)
        return set_down(system, body, self.given.on), body

    def _try(self, share: float, detail: str | None = None) -> Tried:
        """The measure at a share of the range; a scene that cannot be does not meet it."""
        key = share, detail or self.detail
        if key not in self.tried:
            numbers, problem, measure = self._numbers(share), "", None
            try:
                measure = float(measured(*self._system(share, detail), self.given.condition))
            except SnapsimError as error:
                problem = str(error)
            holds = measure is not None and self.given.condition.holds(measure)
            self.tried[key] = Tried(numbers, key[1], measure, holds, problem)
        return self.tried[key]

    def _snaps_if_stronger(self, share: float, detail: str) -> bool:
        """Whether "no snap" holds only as long as the pull is no greater than its cells find it."""
        if self.given.condition.asked is not Asked.NO_SNAP:
            return False
        system, body = self._system(share, detail)
        run = followed(system, [body])
        stronger = fate(weaker_gravity(system, pull_low_by(run)), body)
        return stronger.kind in SNAPPING


def measured(system: System, body: int, condition: Condition) -> float:
    """Return what the condition is about: J of the blow at a magnet (none: 0), N of the weakest
    pull-off, m or rad from which a snap may begin (as far as searched where none was found), or 1
    and 0 for "no snap". What the cells may leave it off by is added where at most is asked, taken
    off where at least is."""
    asked = condition.asked
    if asked in (Asked.NO_SNAP, Asked.ENERGY):
        found = fate(system, body)
        if asked is Asked.NO_SNAP:
            return 0.0 if found.kind in SNAPPING else 1.0
        unknown = found.kind in (FateKind.UNDECIDED, FateKind.FAILED)
        return float("inf") if unknown else found.energy * (1 + condition.most * found.low_by)
    if asked is Asked.PULL_OFF:
        return _pull_off(system, body, condition.most)
    return _margin(system, body, asked)


def _pull_off(system: System, body: int, most: bool) -> float:
    """What it takes to pull the part off, with the bar of the magnets' force on it; where it rests
    on nothing, or would not rest there, no condition holds: it is not known to come off."""
    found = force(system, accuracy=True)
    pull, accuracy = found.pull_off[body], found.accuracy
    if pull is None or accuracy is None:
        return float("inf") if most else 0.0
    off = accuracy.force.value[body] - found.force[body]
    bar = float(accuracy.force.error[body]) + float(np.linalg.norm(off))
    return float(pull.force) + (bar if most else -min(bar, pull.force))


def _margin(system: System, body: int, asked: Asked) -> float:
    """The least displacement or angle of the ways of one kind from which a snap may begin,
    confirmed by releases."""
    ways = Ways(system, body, lambda what, done, of_all: None)
    if ways.at_magnet():
        return 0.0
    now = ways.let_go()
    if now.fate != "stays":
        return 0.0
    kinds = [kind for kind in KINDS if kind == asked.value]
    found = [t for _, t in confirmed(ways, now, ways.measured(False, kinds))[1]]
    if not found:
        raise InputError(f"the part has no way to {asked.value}", key="--so-that")
    least = [t.searched if t.least is None else t.least for t in found]
    undecided = [t.undecided for t in found if t.undecided is not None]
    return min([*least, *undecided])
