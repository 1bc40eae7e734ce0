"""Coarse first: every run with long steps, then those it leaves open with the usual ones.

A run is open where it did not come to an end, nothing was struck, a number lies within `NEAR` of a
line that it is compared with, or its inputs lie where runs go both ways. That place is found by a
logistic regression of each flag on the inputs' normal scores z, with squares and products (ridge):

    P = 1 / (1 + exp(-w.x)),   x = (1, z_i, z_i z_j),   open where D < P < 1 - D,
                                                        or where the flag is the unlikely one.

D begins at the first of `DOUBT` and goes on to the next where a flag of the runs made again so far
changed, or where these are too few to tell (`wider`).

Where a first `PILOT` runs with long steps show that most would be made again, coarse first is left
out (`PilotRuns`). Besides, every `CHECKED`-th run, and four at least, is made both ways whatever it
came to. Where these differ too much (`trusted`), all runs are made again; the table says what the
shortcut cost (`differences`), in each study anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import optimize, spatial, special, stats

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.motion_settings import MotionSettings, Tolerances
from snapsim.study.both_ways import coarse_number, differences
from snapsim.study.hazard_limits import standards
from snapsim.study.outcome_row import WhatCounts
from snapsim.study.sampling import RunSpot

COARSE = MotionSettings(
    tolerances=Tolerances(relative=3e-4, length=3e-6, speed=3e-5),
    slow=3e-2,
    rest=2e-4,
    load_change=0.08,
    contact_step=3e-3,
    turn=0.05,
    fall=3e-3,
    frame_spacing=1e-2,
    blow_step=0.1,
    unaccounted=2e-2,
)
"""Long steps. Over 256 releases of the gear blank energies of blows on the magnet differ from those
with the usual steps by 0.06 % (median) and 0.4 % (worst), one flag changed, for 0.09 s CPU against
0.25. Up to 2 % may be missing from such a run's books (the gear blank's miss 0.7 %, by long steps
in contact); one that misses more is made again. `hop` stays as it is: with a longer one blows of
light parts in strong fields are lost."""

NEAR, NEAR_ENERGY = 0.01, 0.005
"""Shares of a line within which a number, and the energy of a snap, is open. Of 10 000 releases of
the gear blank 1 367 snaps were made both ways: energies differ by 0.07 % (median) and 0.34 %
(worst), times to close a gap by 0.14 % and 0.78 %; no energy farther than 0.14 % from a line, and
no time farther than 0.4 %, came to its other side."""

DOUBT = (0.1, 0.03)
"""Chances of either way above which a place counts as one where runs go both ways: at first, and
where that was not enough. Of the 1 035 such releases of the gear blank at 0.03 none changed."""

SETTLED = 50
"""Runs of a band, none of whose flags changed, that settle the places beyond it."""

CHECKED = 50
"""Every so many-th run is made both ways."""

CHANGED, OFF = 0.1, 0.02
"""Share of the checked runs whose flags may change, and the median by which energies may."""

RIDGE = 5e-5
"""Weight of the penalty a run: the smaller, the narrower the band of doubt."""

FEWEST = 24
"""With fewer runs all are open where a flag goes both ways."""

PILOT = 8
"""Runs with long steps that show whether coarse first spares anything."""

SPARED = 0.6
"""Share of open runs up to which it does: a run with long steps costs a third of one without, and
bands and checked runs come on top."""

WORTH = 12
"""With fewer runs a setup the long steps (a third of a run each) and the four checked both ways
cost about what can be spared at best: coarse first is left out."""

RARE = 8
"""With fewer runs on one side, these and as many nearest ones of the other are open."""


@dataclass(frozen=True)
class CoarseRun:
    """One run of the coarse pass: where it lies, its shares (d,) in (0, 1), and its result."""

    spot: RunSpot
    shares: Array
    result: Mapping[str, Any]


def open_runs(runs: Iterable[CoarseRun], counts: WhatCounts) -> set[int]:
    """Return the numbers of the runs that are made again with usual steps first."""
    every = list(runs)
    lines = _lines(counts)
    chosen = {r.spot.number for r in every if _open(r.result, lines)}
    chosen |= checked(every)
    for band in _bands(every):
        chosen |= band.within(DOUBT[0])
    return chosen - {r.spot.number for r in every if r.result["status"] == "overlap"}


@dataclass(frozen=True)
class PilotRuns:
    """Of so many `runs` made with long steps first `open` would be made again; `mixed`: a flag goes
    both ways in a setup of so few runs that all are then open."""

    runs: int
    open: int
    mixed: bool

    @property
    def spares(self) -> bool:
        """Whether coarse first is worth while."""
        return not self.mixed and self.open <= SPARED * self.runs


def pilot_numbers(numbers: Sequence[int]) -> set[int]:
    """Return the numbers of the runs that are made first, evenly spread."""
    every = np.linspace(0, len(numbers) - 1, min(PILOT, len(numbers))).round().astype(int)
    return {numbers[k] for k in every.tolist()}


def piloted(runs: Sequence[CoarseRun], counts: WhatCounts, each: int) -> PilotRuns:
    """Return what the first runs show of a study with `each` runs a setup."""
    lines = _lines(counts)
    few = each < FEWEST and bool(_bands(list(runs)))
    return PilotRuns(len(runs), sum(_open(r.result, lines) for r in runs), few)


def wider(
    runs: Iterable[CoarseRun], results: Mapping[int, Mapping[str, Any]], made: set[int]
) -> Iterator[set[int]]:
    """Yield numbers of runs to be made again besides those `made` already, step by step.

    `results` are those in the ledger; what was yielded is to be in it before the next step.
    """
    bands, made = _bands(list(runs)), set(made)
    for inner, doubt in pairwise(DOUBT):
        bands = [band for band in bands if not band.settled(inner, results)]
        more = set[int]().union(*(band.within(doubt) for band in bands)) - made
        made |= more
        if more:
            yield more


def checked(runs: Sequence[CoarseRun]) -> set[int]:
    """Return the numbers of the runs that are made both ways whatever they came to."""
    return {r.spot.number for r in runs[:: max(1, min(CHECKED, len(runs) // 4))]}


def trusted(results: Mapping[int, dict[str, Any]], numbers: Iterable[int]) -> bool:
    """Return whether the long steps stood the test of the checked runs."""
    found = differences(results, numbers)
    few = found["changed"] <= CHANGED * found["both_ways"]
    return few and (found["energy_median"] or 0.0) <= OFF


def _lines(counts: WhatCounts) -> list[tuple[str, float]]:
    """Every (measure, bound) that a run is compared with."""
    own = [("effective_energy_J", counts.snap_energy), ("speed_m_s", counts.magnet_speed)]
    loads = [("fixed_load_N", bound) for bound in counts.table_load.values()]
    return own + loads + [(x.measure, x.bound) for s in standards() for x in s.limit]


def _open(result: Mapping[str, Any], lines: list[tuple[str, float]]) -> bool:
    if result["status"] != "done":
        return bool(result["status"] in ("failed", "untrusted"))
    if result["outcome"] == "moving" or result["first_blow"] is None:
        return True
    for measure, bound in lines:
        value = result["measures"].get(measure)
        near = NEAR_ENERGY if measure == "effective_energy_J" else NEAR
        if value is not None and abs(value - bound) <= near * bound:
            return True
    return False


@dataclass(frozen=True)
class _Band:
    """Where a flag goes both ways in one setup: runs by `number` (n,) and how `likely` (n,) their
    coarse results are, `flag` that they have."""

    flag: str
    number: IntArray
    likely: Array

    def within(self, doubt: float) -> set[int]:
        """Numbers of the runs that are not as good as certain."""
        return set(self.number[self.likely < 1 - doubt].tolist())

    def settled(self, doubt: float, results: Mapping[int, Mapping[str, Any]]) -> bool:
        """Whether the runs so far made again settle that none beyond need be."""
        both = [(results[coarse_number(n)], results[n]) for n in self.within(doubt)]
        flags = [tuple(r["flags"].get(self.flag) for r in p) for p in both if p[1]["flags"]]
        return len(flags) >= SETTLED and all(coarse == fine for coarse, fine in flags)


def _bands(runs: list[CoarseRun]) -> list[_Band]:
    """A band for each flag that goes both ways in a setup."""
    found = []
    for setup in sorted({r.spot.setup for r in runs}):
        done = [r for r in runs if r.spot.setup == setup and r.result["status"] == "done"]
        for flag in sorted(
            {k for r in done for k, v in r.result["flags"].items() if v is not None}
        ):
            up = np.array([bool(r.result["flags"].get(flag)) for r in done])
            if not up.all() and up.any():
                likely = _likely(np.array([r.shares for r in done]), up)
                found.append(_Band(flag, np.array([r.spot.number for r in done]), likely))
    return found


def _likely(shares: Array, up: BoolArray) -> Array:
    """How likely the flag (n,) of each of n runs (n, d) is, by a regression on the inputs; 0 where
    there are too few for that."""
    few = up if up.sum() < len(up) / 2 else ~up
    if len(up) < FEWEST:
        return np.zeros(len(up))
    if few.sum() < RARE:
        return np.where(few | _nearest(stats.norm.ppf(shares), few), 0.0, 1.0)
    x, sign = _terms(shares), np.where(up, 1.0, -1.0)
    return np.asarray(special.expit(sign * (x @ _regression(x, sign))))


def _nearest(z: Array, few: BoolArray) -> BoolArray:
    """The RARE nearest neighbours of each of the few."""
    _, near = spatial.KDTree(z).query(z[few], k=RARE + 1)
    found = np.zeros(len(z), dtype=np.bool_)
    found[near.ravel()] = True
    return found


def _regression(x: Array, sign: Array) -> Array:
    """Weights (k,) of the logistic regression of signs (n,) on terms (n, k), the first free."""
    ridge = RIDGE * len(x)

    def loss(w: Array) -> tuple[float, Array]:
        margin = sign * (x @ w)
        value = np.logaddexp(0.0, -margin).sum() + ridge * (w[1:] @ w[1:]) / 2
        slope = ridge * np.r_[0.0, w[1:]] - x.T @ (sign * special.expit(-margin))
        return float(value), slope

    found: Array = optimize.minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B").x
    return found


def _terms(shares: Array) -> Array:
    """Normal scores, squares and products of them (n, 1 + d + d (d + 1) / 2)."""
    z = stats.norm.ppf(shares)
    i, j = np.triu_indices(z.shape[1])
    return np.column_stack([np.ones(len(z)), z, z[:, i] * z[:, j]])
