"""Intervals by profile likelihood: one unknown held aside, all others fitted anew.

With S the robust loss in residuals over their scale, the interval holds all values for which the
others can be chosen so that S - S_min <= q a/b, where a/b = E[psi^2]/E[psi'] (`robust_loss`) and q
is the quantile of chi-squared with one degree of freedom; of Student's t squared with n - d where
the scale was found from the residuals themselves. Sides are found by the secant of the signed root
of S - S_min, which is straight where slopes are. While one unknown is aside, the others follow by
Gauss-Newton with the slopes of the best point.

Sources: Venzon and Moolgavkar, Appl. Statist. 37, 87 (1988); Bates and Watts, Nonlinear Regression
Analysis (1988), section 6.1, for the t (both from memory).
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
from scipy import stats

from snapsim.arrays import Array
from snapsim.footage import robust_loss
from snapsim.footage.fit.least_squares import Solved, information
from snapsim.footage.fit.staged import Fitted

ROUNDS = 6
"""Places of one end that are tried."""

CLOSE = 0.05
"""Relative error of the signed root at an end."""

INNER = 2
"""Gauss-Newton steps of the others at each place."""


@dataclass(frozen=True)
class Interval:
    """Ends as shares of the bounds; `open_low`, `open_high` where a bound is met first.

    `settled` says whether both ends were found to `CLOSE`.
    """

    low: float
    high: float
    open_low: bool
    open_high: bool
    settled: bool


@dataclass(frozen=True)
class Intervals:
    """One of each unknown, the `correlation` (d, d) and the standard `error` (d,) of the shares by
    slopes; `better` is a point with a lower loss met on the way, None without one."""

    intervals: tuple[Interval, ...]
    correlation: Array
    error: Array
    better: Array | None


Walk = Generator[Array, Array, tuple[float, bool, bool]]


def threshold(fitted: Fitted, confidence: float) -> float:
    """Return q a/b."""
    n, d = fitted.solved.slopes.shape
    t = float(stats.t.ppf(0.5 + 0.5 * confidence, max(n - d, 1)))
    return t**2 * robust_loss.ratio_factor(fitted.solved.z)


def profile(fitted: Fitted, confidence: float) -> Intervals:
    """Return the intervals of a fit of all unknowns."""
    solved, problem = fitted.solved, fitted.problem
    wanted = float(np.sqrt(threshold(fitted, confidence)))
    cover = covariance(solved)
    walks = [_end(solved, cover, k, side, wanted) for k in range(len(solved.x)) for side in (-1, 1)]
    ends: list[tuple[float, bool, bool]] = [(np.nan, False, False)] * len(walks)
    lowest: tuple[float, Array | None] = (solved.loss - 0.02, None)
    waiting = {i: next(walk) for i, walk in enumerate(walks)}
    while waiting:
        turn = list(waiting)
        for i, z in zip(turn, problem.ask([waiting[i] for i in turn]), strict=True):
            if robust_loss.loss(z) < lowest[0]:
                lowest = robust_loss.loss(z), waiting[i]
            try:
                waiting[i] = walks[i].send(z)
            except StopIteration as done:
                ends[i] = done.value
                del waiting[i]
    pairs = zip(ends[::2], ends[1::2], strict=True)
    found = tuple(Interval(a[0], b[0], a[1], b[1], a[2] and b[2]) for a, b in pairs)
    error = np.sqrt(np.diag(cover))
    return Intervals(found, cover / np.outer(error, error), error, lowest[1])


def covariance(solved: Solved) -> Array:
    """Return the covariance (d, d) of the shares by slopes; wide where nothing is known."""
    matrix = information(solved.slopes, solved.z)
    floor = 1e-4 * np.eye(len(matrix))  # a spread of a hundred times the bounds
    return np.asarray(np.linalg.inv(matrix + floor) * robust_loss.ratio_factor(solved.z))


def _end(solved: Solved, cover: Array, k: int, side: int, wanted: float) -> Walk:
    """Walk to one end: yields points, is sent their residuals."""
    best, room = solved.x[k], solved.x[k] if side < 0 else 1 - solved.x[k]
    away = min(wanted * float(np.sqrt(cover[k, k] / robust_loss.ratio_factor(solved.z))), room)
    near, near_root, far, met = 0.0, 0.0, room, False
    for _ in range(ROUNDS):
        loss = yield from _others(solved, cover, k, best + side * away)
        root = float(np.sqrt(max(loss - solved.loss, 1e-12)))
        if abs(root - wanted) <= CLOSE * wanted:
            return best + side * away, False, True
        if root < wanted and away >= room * (1 - 1e-9):
            return best + side * room, True, True
        if root < wanted:
            near, near_root = away, root
        else:
            far, met = min(far, away), True
        rate = (root - near_root) / (away - near) if root > wanted and away > near else root / away
        guess = near + (wanted - near_root) / max(rate, 1e-12)
        away = float(np.clip(guess, near + 0.05 * (far - near), far))
    return best + side * far, not met, False  # the safe side of what is known


def _others(solved: Solved, cover: Array, k: int, value: float) -> Generator[Array, Array, float]:
    """The least loss with unknown k held: the others start on the ridge and follow the slopes."""
    others = [j for j in range(len(solved.x)) if j != k]
    x = solved.x + cover[:, k] / cover[k, k] * (value - solved.x[k])
    x = np.clip(x, 0, 1)
    x[k] = value
    lowest = np.inf
    for turn in range(INNER + 1):
        z = yield x.copy()
        loss = robust_loss.loss(z)
        gained = lowest - loss
        lowest = min(lowest, loss)
        if not others or turn == INNER or gained < 0.02:
            break
        slopes = solved.slopes[:, others]
        weight = robust_loss.weights(z)
        normal = slopes.T @ (weight[:, None] * slopes) + 1e-4 * np.eye(len(others))
        x[others] = np.clip(x[others] - np.linalg.solve(normal, slopes.T @ (weight * z)), 0, 1)
    return lowest
