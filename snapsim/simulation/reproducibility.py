"""How far a run's figures repeat: the same figures of runs that began all but alike.

A figure is *reproducible* where the others have it to `WITHIN` of itself (or of its `scale`, what
is small there), and was settled before the motions parted: while two motions are the same, so is
what is read off them. After that an agreement may be luck, and counts from `ENOUGH` others on; with
fewer it is *unsettled*. It is *two-valued* where all runs have one of two figures, and *lost*
otherwise. A run that was not compared has no figure that is reproducible.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.arrays import Array, BoolArray

if TYPE_CHECKING:
    from snapsim.simulation.trajectory import Impact

WITHIN: Final = 0.01
"""Share of a figure to which it must repeat."""

ENOUGH: Final = 7
"""Other runs that must agree on what was settled after the motions had parted: an outcome that
comes up in three runs of ten is missed by all of them once in twelve times."""

MOST_DIGITS: Final = 5
"""Digits beyond which nothing is promised: forces are interpolated to some 1e-5 of themselves."""


class Trust(StrEnum):
    """What runs that began all but alike say of a figure."""

    REPRODUCIBLE = "reproducible"
    UNSETTLED = "unsettled"
    """It agrees, but was settled after the motions had parted, and in too few runs."""
    TWO_VALUED = "two_valued"
    LOST = "lost"
    NOT_CHECKED = "not_checked"


class Manner(StrEnum):
    """How a body lies against another."""

    FLAT = "flat"
    EDGE = "edge"
    """On an edge, or along a line of a round side."""
    POINT = "point"


@dataclass(frozen=True)
class Lying:
    """What a body touches at the end of a run, by name, and how; whether it still moves."""

    touches: tuple[tuple[str, Manner], ...]
    moving: bool = False


@dataclass(frozen=True)
class Output:
    """One figure: `value` of the run itself, `others` of its twins (nan where there is none), the
    `scale` below which it counts as small, and the `time` [s] at which it was settled."""

    value: float
    others: tuple[float, ...]
    scale: float
    time: float

    @property
    def spread(self) -> float:
        """Largest difference of any other from the run's own; infinite where only one has any."""
        own = math.isnan(self.value)
        if any(math.isnan(other) != own for other in self.others):
            return math.inf
        return 0.0 if own else max((abs(o - self.value) for o in self.others), default=0.0)

    @property
    def difference(self) -> float:
        """The spread as a share of the figure, or of its scale where that is larger."""
        size = self.scale if math.isnan(self.value) else max(abs(self.value), self.scale)
        return self.spread / size if size > 0 else (math.inf if self.spread else 0.0)


@dataclass(frozen=True)
class Twins:
    """What became of the twins of a run: `asked` for, of which those not `failed` are compared.

    `size` is the share by which they began otherwise, `apart` [s] when the first of them had
    visibly gone another way (inf: never), `blows` how many of the first blows all have alike.
    `lying` has, for each free body, how the run and then each twin ended. `tipped` twins had come
    to rest and were taken elsewhere by a slight knock. `hardest` is the blow of each twin compared
    with the most effective energy, None of one without a blow; empty in files of before.
    """

    asked: int
    failed: int
    size: float
    apart: float
    blows: int
    outputs: Mapping[str, Output]
    lying: Mapping[str, tuple[Lying, ...]]
    tipped: int = 0
    hardest: tuple[Impact | None, ...] = ()

    @property
    def runs(self) -> int:
        """Runs that are compared, the run itself among them."""
        return 1 + self.asked - self.failed

    def parted(self, time: float) -> bool:
        """Return whether what happens at a time [s] is that of one of several courses: what every
        table, clip and page marks."""
        return time > self.apart

    def trust(self, name: str) -> Trust:
        """Return what is known of the figure called `name`; of one that was not read, nothing."""
        output = self.outputs.get(name)
        return Trust.NOT_CHECKED if output is None else trust(output, self.apart)


def trust(output: Output, apart: float) -> Trust:
    """Return what the figures say, where the motions parted at the time `apart` [s]."""
    if not output.others:
        return Trust.NOT_CHECKED
    if output.difference <= WITHIN:
        sure = output.time < apart or len(output.others) >= ENOUGH
        return Trust.REPRODUCIBLE if sure else Trust.UNSETTLED
    return Trust.TWO_VALUED if _two_valued(output) else Trust.LOST


def digits(output: Output) -> int:
    """Return how many digits of the figure all runs agree on."""
    if output.difference <= 10.0**-MOST_DIGITS:
        return MOST_DIGITS
    return max(0, int(-math.log10(output.difference))) if math.isfinite(output.difference) else 0


def two_values(output: Output) -> tuple[tuple[float, int], tuple[float, int]] | None:
    """Return the two figures that all runs have one of, and in how many runs; None if not two."""
    values = np.array([output.value, *output.others])
    if len(values) < 4 or np.isnan(values).all():
        return None
    first = values[0]
    mine = _near(values, first, output.scale)
    rest = values[~mine]
    if not len(rest) or not _near(rest, rest[0], output.scale).all():
        return None
    return (float(first), int(mine.sum())), (float(rest[0]), len(rest))


def _two_valued(output: Output) -> bool:
    found = two_values(output)
    return found is not None and max(found[0][1], found[1][1]) > 2


def _near(values: Array, one: float, scale: float) -> BoolArray:
    if math.isnan(one):
        return np.isnan(values)
    return np.asarray(np.abs(values - one) <= WITHIN * max(abs(one), scale))
