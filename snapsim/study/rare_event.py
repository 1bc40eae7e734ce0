"""The rare event of a study: subset simulation with runs as its limit state.

Level 0 is the study's own sample, so a ledger of a rare event is an ordinary sweep as well; later
levels stand where other studies have their matrices. Points follow from the study and the results
so far: broken off and started again they are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy import stats

from snapsim.arrays import Array
from snapsim.study.sampling import RunSpot, correlated_shares, sobol_shares
from snapsim.study.study_file import RareDescription, Study
from snapsim.study.subset_simulation import Rare, combined, subset_simulation

AnswerRuns = Callable[[Sequence[tuple[RunSpot, Array]]], Sequence[Mapping[str, Any]]]
"""Gives the results of runs, each asked for by its spot and its shares (d,)."""

EDGE = 1e-12
"""Shares stay this far from 0 and 1, where a distribution may have no value."""


def estimates(study: Study, setup: int, answer: AnswerRuns) -> list[Rare]:
    """Return one estimate of the chance a replicate, asking `answer` for runs."""
    return [_replicate(study, setup, r, answer) for r in range(study.replicates)]


def rare_chance(study: Study, setup: int, results: Mapping[int, Any]) -> dict[str, Any] | None:
    """Return the chance from a ledger's results as JSON data; None where runs are missing.

    "chance", "low", "high" (95 %, from the replicates), "settled", "runs", "overlaps", "failed" and
    "untrusted" among them, "replicates" their own chances, "levels" the thresholds of the first.
    """
    asked: list[Mapping[str, Any]] = []

    def known(runs: Sequence[tuple[RunSpot, Array]]) -> Sequence[Mapping[str, Any]]:
        found = [results[spot.number] for spot, _ in runs]
        asked.extend(found)
        return found

    assert study.rare is not None
    try:
        each = estimates(study, setup, known)
    except KeyError:
        return None
    total, rare = combined(each), study.rare
    return {
        **_asked_of(rare),
        "chance": total.chance,
        "low": total.low,
        "high": total.high,
        "settled": total.settled,
        **_counted(asked),
        "replicates": [r.chance for r in each],
        "levels": [_threshold(rare, b) for b in each[0].thresholds],
    }


def _asked_of(rare: RareDescription) -> dict[str, Any]:
    side = "most" if rare.exceeds is not None else "least"
    return {"measure": rare.measure, "side": side, "bound": rare.bound}


def _counted(asked: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """How many runs were asked for, and how many of them ended otherwise than well."""
    among = {"overlaps": "overlap", "failed": "failed", "untrusted": "untrusted"}
    counts = {name: sum(r["status"] == status for r in asked) for name, status in among.items()}
    return {"runs": len(asked), **counts}


def _replicate(study: Study, setup: int, replicate: int, answer: AnswerRuns) -> Rare:
    assert study.rare is not None
    rare = study.rare

    def evaluate(level: int, before: int, z: Array) -> Array:
        shares = np.clip(correlated_shares(z, study), EDGE, 1 - EDGE)
        spots = [RunSpot(setup, replicate, level, before + i) for i in range(len(z))]
        found = answer(list(zip(spots, shares, strict=True)))
        return np.array([_toward(rare, result) for result in found])

    start = stats.norm.ppf(sobol_shares(study, replicate))
    seed = (study.seed, setup, replicate)
    return subset_simulation(start, _signed(rare, rare.bound), evaluate, seed, rare.levels)


def _toward(rare: RareDescription, result: Mapping[str, Any]) -> float:
    """The number that rises towards the event; as far from it as can be where a run has none."""
    value = result["measures"].get(rare.measure)
    return -np.inf if value is None else _signed(rare, value)


def _signed(rare: RareDescription, value: float) -> float:
    return value if rare.exceeds is not None else -value


def _threshold(rare: RareDescription, b: float) -> float | None:
    return _signed(rare, b) if np.isfinite(b) else None
