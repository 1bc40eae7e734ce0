"""Small chances by subset simulation: a rare event as a chain of events that are not rare.

    P(y > b) = P(y > b_1) P(y > b_2 | y > b_1) ... P(y > b | y > b_m)

y is a number that a run gives for inputs z (d,), independent standard normal scores. Each level b_j
is what about `SHARE` of the samples before exceed; these are the seeds of Markov chains that sample
the next level by conditional sampling: z' = sqrt(1 - s^2) z + s w, w standard normal, taken where
y(z') > b_j, else z again. That keeps the normal distribution for any step s in (0, 1]; s follows
the share of steps taken. Sources: Au and Beck 2001, Probab. Eng. Mech. 16, 263; conditional
sampling after Papaioannou et al. 2015, Probab. Eng. Mech. 41, 89 (both from memory).

Valid where y rises towards the event, at least in steps: where too many samples share one value no
level can be set between them, and the estimate is given up ("stuck"). Chains correlate, so an error
comes from independent replicates only (`combined`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from snapsim.arrays import Array, BoolArray

SHARE = 0.1
"""Share of the samples that seed the next level; 0.1 to 0.3 is about best (Zuev et al. 2012)."""

STEP = 0.6
"""First step s of the chains."""

TAKEN = 0.44
"""Share of steps taken that is best in one dimension (Papaioannou et al. 2015)."""

Evaluate = Callable[[int, int, Array], Array]
"""Asked for y (k,) of points (k, d), with the level and how many points of it came before."""


@dataclass(frozen=True)
class Rare:
    """One estimate: `chance`, an upper bound where not `settled`; the levels' thresholds and the
    shares beyond them; how many runs were made."""

    chance: float
    settled: bool
    thresholds: tuple[float, ...]
    shares: tuple[float, ...]
    runs: int


@dataclass(frozen=True)
class Combined:
    """The mean of replicates and its 95 % interval; `settled` where each of them is."""

    chance: float
    low: float
    high: float
    settled: bool


@dataclass
class _Population:
    """Samples of one level: scores `z` (n, d), what they gave `y` (n,), the step of the chains."""

    z: Array
    y: Array
    step: float = STEP


def subset_simulation(
    start: Array, limit: float, evaluate: Evaluate, seed: Sequence[int], levels: int = 8
) -> Rare:
    """Return the chance of y > `limit` from samples `start` (n, d), standard normal scores.

    At most `levels` levels, each of about n runs. The same seed gives the same points.
    """
    now = _Population(start, evaluate(0, 0, start))
    thresholds: list[float] = []
    shares: list[float] = []
    runs = len(start)
    while True:
        beyond = float(np.mean(now.y > limit))
        bound = float(np.sort(now.y)[-max(1, round(SHARE * len(now.y))) - 1])
        seeds = now.y > bound
        over = beyond >= SHARE or len(thresholds) + 1 == levels or not seeds.any()
        if over:
            last = max(beyond, 1 / len(now.y))
            levels_passed = float(np.prod(shares)) * last
            return Rare(levels_passed, beyond > 0, (*thresholds, limit), (*shares, beyond), runs)
        thresholds.append(bound)
        shares.append(float(np.mean(seeds)))
        rng = np.random.default_rng([*seed, len(thresholds)])
        now, made = _chains(now, seeds, bound, len(thresholds), evaluate, rng)
        runs += made


def _chains(
    before: _Population,
    seeds: BoolArray,
    bound: float,
    level: int,
    evaluate: Evaluate,
    rng: np.random.Generator,
) -> tuple[_Population, int]:
    """Follow a chain from each seed, all a step at a time, until there are about n samples."""
    z, y, s = before.z[seeds], before.y[seeds], before.step
    every_z, every_y, taken, made = [z], [y], [], 0
    for _ in range(max(1, round(len(before.y) / len(y))) - 1):
        tried = np.sqrt(1 - s**2) * z + s * rng.standard_normal(z.shape)
        found = evaluate(level, made, tried)
        made += len(found)
        good = found > bound
        z, y = np.where(good[:, None], tried, z), np.where(good, found, y)
        every_z.append(z)
        every_y.append(y)
        taken.append(float(np.mean(good)))
    pace = float(np.exp(np.mean(taken) - TAKEN)) if taken else 1.0
    step = float(np.clip(s * pace, 0.05, 1.0))
    return _Population(np.concatenate(every_z), np.concatenate(every_y), step), made


def combined(replicates: Sequence[Rare]) -> Combined:
    """Return the mean of independent estimates and its interval, by Cox's method.

    Estimates scatter by a factor s^2 in the logarithm, and the mean of the logarithms is that of a
    lower value: by s^2 / 2, whose own error is s^2 / sqrt(2 (n - 1)). Zhou and Gao 1997, Stat. Med.
    16, 783 (from memory), with Student's t. With one replicate the interval is all.
    """
    chances = np.array([r.chance for r in replicates])
    settled = all(r.settled for r in replicates)
    mean = float(chances.mean())
    if len(chances) < 2:
        return Combined(mean, 0.0, 1.0, settled)
    logs = np.log(chances)
    count, spread = len(logs), float(logs.var(ddof=1))
    error = (spread / count + spread**2 / (2 * (count - 1))) ** 0.5
    half = stats.t.ppf(0.975, count - 1) * error
    low, high = np.exp(logs.mean() + spread / 2 + np.array([-half, half]))
    low = 0.0 if not settled else min(float(low), mean)
    return Combined(mean, low, min(1.0, max(float(high), mean)), settled)
