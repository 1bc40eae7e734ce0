"""The contract between a fit and what it fits: unknowns in, computed places out.

A fit knows nothing of magnets: `Predictor` is all that it sees, so it is tested on motions with a
closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from snapsim.arrays import Array, BoolArray


@dataclass(frozen=True)
class Query:
    """A point of the unknowns: `shares` (d,) of their bounds, 0 to 1.

    Not `whole`, the motion is computed up to its first blow and stays there. It is computed until
    `until` [s] in the footage. `delay` [s] lets all that follows the first blow come later.
    """

    shares: Array
    whole: bool
    until: float
    delay: float = 0.0


@dataclass(frozen=True)
class Prediction:
    """Computed places (m, 2) [px] of all tracked ones, nan where it failed for the `reason`;
    `blow` [s] in the footage is when the first blow falls, inf without one."""

    place: Array
    blow: float
    reason: str = ""

    @property
    def sound(self) -> bool:
        """Was it computed?"""
        return not self.reason


class Predictor(Protocol):
    """`size` unknowns; `time` (m,) [s] in the footage, `tracked` (m, 2) [px] and `weight` (m,) of
    all places that are seen, track by track."""

    size: int
    time: Array
    tracked: Array
    weight: Array

    def ask(self, queries: Sequence[Query]) -> list[Prediction]:
        """Return an answer to each query."""
        ...


def rows_between(predictor: Predictor, begin: float, end: float) -> BoolArray:
    """Return which places (m,) are seen from `begin` to `end` [s] in the footage."""
    return np.asarray((predictor.time >= begin) & (predictor.time <= end))
