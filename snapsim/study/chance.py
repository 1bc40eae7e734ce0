"""Chances with their intervals.

Wilson's score interval for k of n (Wilson 1927, J. Am. Stat. Assoc. 22, 209), as
`scipy.stats.binomtest` gives it. It holds for independent runs; Sobol points are spread more evenly
than that, so it is on the wide side. The spread between replicates is given beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import binomtest, t

LEVEL = 0.95
"""Confidence level of all intervals."""


@dataclass(frozen=True)
class Chance:
    """`hits` of `runs`; the interval [low, high]; `spread`, the standard error of the chance from
    the spread of the replicates' own (nan with one)."""

    hits: int
    runs: int
    low: float
    high: float
    spread: float

    def between_replicates(self, replicates: int) -> tuple[float, float] | None:
        """Return the interval by Student's t from the spread of the replicates, None with one."""
        if not np.isfinite(self.spread):
            return None
        half = float(t.ppf(0.5 + LEVEL / 2, replicates - 1)) * self.spread
        return max(0.0, self.value - half), min(1.0, self.value + half)

    @property
    def value(self) -> float:
        """The share of runs that hit."""
        return self.hits / self.runs if self.runs else float("nan")


def chance(hits: Sequence[bool], replicate: Sequence[int]) -> Chance:
    """Return the chance from runs' flags and the replicate each belongs to."""
    runs, total = len(hits), int(sum(hits))
    if runs == 0:
        return Chance(0, 0, 0.0, 1.0, float("nan"))
    interval = binomtest(total, runs).proportion_ci(LEVEL, method="wilson")
    flags, groups = np.array(hits, dtype=float), np.array(replicate)
    means = [flags[groups == g].mean() for g in np.unique(groups)]
    spread = float(np.std(means, ddof=1) / len(means) ** 0.5) if len(means) > 1 else float("nan")
    return Chance(total, runs, float(interval.low), float(interval.high), spread)
