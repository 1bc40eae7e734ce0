"""Robust least squares over some of the unknowns, slopes by differences computed side by side.

The solver is `scipy.optimize.least_squares`: trust region within bounds (Branch, Coleman and Li
1999) with Huber's loss. A slope is a forward difference over `STEP` of the bounds, wide enough for
the step errors of a release to vanish in it; backward where there is no room or it fails.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from snapsim.arrays import Array, BoolArray
from snapsim.footage import robust_loss
from snapsim.footage.fit.contract import Prediction, Predictor, Query

STEP = 2e-3
"""Difference step, as a share of the bounds."""

FAR = 1e4
"""Residual, in standard deviations, that stands for a motion that could not be computed."""

FLAT = 1e-5
"""Relative gain of the loss below which a fit ends: 0.01 of some hundreds of places."""

DELAY = 0.01
"""Unit of the unknown delay of a blow [s]."""


@dataclass(frozen=True)
class FitProblem:
    """Places `rows` (m,) to fit, those `free` of the unknowns, `noise` [px]; `base` is the query
    whose shares the others keep. With `delayed` the time of the first blow is one unknown more."""

    predictor: Predictor
    base: Query
    free: tuple[int, ...]
    rows: BoolArray
    noise: float
    delayed: bool = False

    def query(self, x: Array) -> Query:
        """Return the query at x (f,), one share a free unknown, then the delay."""
        shares = self.base.shares.copy()
        shares[list(self.free)] = x[: len(self.free)]
        delay = float(x[-1]) * DELAY if self.delayed else self.base.delay
        return replace(self.base, shares=shares, delay=delay)

    def start(self) -> Array:
        """Return x of the base."""
        own = self.base.shares[list(self.free)]
        return np.append(own, self.base.delay / DELAY) if self.delayed else own.copy()

    def misfit(self, answer: Prediction) -> Array:
        """Return residuals over the noise (2 r,), tracked less computed, weighted."""
        return residuals(self.predictor, answer, self.rows) / self.noise

    def ask(self, points: Sequence[Array]) -> list[Array]:
        """Return the residuals at some points."""
        return [self.misfit(a) for a in self.predictor.ask([self.query(x) for x in points])]

    def slopes(self, x: Array, there: Array, step: float | Array = STEP) -> Array:
        """Return the derivatives (2 r, f) of the residuals by x."""
        high = self._high()
        h = np.where(x + step <= high, step, -np.asarray(step))
        steps = np.broadcast_to(h, x.shape)
        points = [x + dx for dx in np.diag(steps)]
        queries = [self.query(p) for p in points]
        answers = self.predictor.ask(queries)
        columns = [
            (self.misfit(a) - there) / dx if a.sound else np.zeros_like(there)
            for a, dx in zip(answers, steps, strict=True)
        ]
        return np.stack(columns, axis=1)

    def bounds(self) -> tuple[Array, Array]:
        """Return the least and the largest x."""
        low = np.zeros(len(self._high()))
        if self.delayed:
            low[-1] = -self._high()[-1]
        return low, self._high()

    def _high(self) -> Array:
        shares = np.ones(len(self.free))
        return np.append(shares, 5.0) if self.delayed else shares


def residuals(predictor: Predictor, answer: Prediction, rows: BoolArray) -> Array:
    """Return weighted residuals (2 r,) [px], tracked less computed; far off where it failed."""
    apart = (predictor.tracked - answer.place)[rows] * np.sqrt(predictor.weight[rows, None])
    return np.nan_to_num(apart, nan=FAR).ravel()


@dataclass(frozen=True)
class Solved:
    """The query found, residuals over noise `z` (2 r,) there, `slopes` (2 r, f), and the loss."""

    query: Query
    x: Array
    z: Array
    slopes: Array
    loss: float


def solve(problem: FitProblem, rounds: int = 12) -> Solved:
    """Minimise Huber's loss from the base of the problem."""
    places: dict[bytes, Array] = {}
    slopes: dict[bytes, Array] = {}

    def fun(x: Array) -> Array:
        key = x.tobytes()
        if key not in places:
            places[key] = problem.ask([x])[0]
        return places[key]

    def jac(x: Array) -> Array:
        key = x.tobytes()
        if key not in slopes:
            slopes[key] = problem.slopes(x, fun(x))
        return slopes[key]

    low, high = problem.bounds()
    start = np.clip(problem.start(), low + 1e-9, high - 1e-9)
    found = least_squares(
        fun, start, jac=jac, bounds=(low, high), loss="huber",
        f_scale=robust_loss.K, xtol=1e-5, ftol=FLAT, gtol=1e-10, max_nfev=rounds,
    )  # fmt: skip
    z = fun(found.x)
    return Solved(problem.query(found.x), found.x, z, jac(found.x), robust_loss.loss(z))


def rescaled(solved: Solved, factor: float) -> Solved:
    """Return the same with residuals in another unit, `factor` times what they were."""
    z = factor * solved.z
    return replace(solved, z=z, slopes=factor * solved.slopes, loss=robust_loss.loss(z))


def information(slopes: Array, z: Array) -> Array:
    """Return the matrix (f, f) of a robust fit: slopes' slopes, far residuals left out.

    Its inverse is the covariance of x, times `robust_loss.ratio_factor`.
    """
    inside = np.abs(z) < robust_loss.K
    return np.asarray(slopes[inside].T @ slopes[inside])
