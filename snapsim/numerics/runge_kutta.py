"""Explicit Runge-Kutta pairs with error control and dense output, one step at a time, as functions.

    dy/dt = f(t, y),   y1 = y0 + h sum b_i k_i,   k_i = f(t + c_i h, y0 + h sum a_ij k_j)

The length h is such that the difference of two results of different order, as the root mean square
over bounds `absolute + relative |y|`, is less than 1; the next one is 0.9 h times that to the power
-1/(q + 1), q the lower order, within factors 0.2 and 10. Between the ends of a step y is a
polynomial. Pairs: order 5(4) of Dormand & Prince (6 evaluations a step), order 8(5,3) of Hairer (12
and 3 for the polynomial); Hairer, Norsett & Wanner, Solving Ordinary Differential Equations I, 2nd
ed., II.4-II.6; their coefficients are scipy's. scipy's own solvers keep their state to themselves,
and a motion has to shorten the next step and to bring the end of one back onto its joints.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.integrate import DOP853, RK45

from snapsim.arrays import Array

RateFunction = Callable[[float, Array], Array]
"""dy/dt (k,) at a time and y (k,)."""

SAFETY: Final = 0.9
LEAST_FACTOR: Final = 0.2
MOST_FACTOR: Final = 10.0


@dataclass(frozen=True)
class Pair:
    """Coefficients of a pair: `a` (s, s), `b`, `c` (s,); `lower` order of the error's estimate."""

    a: Array
    b: Array
    c: Array
    lower: int

    def error(self, stages: Array, length: float, scale: Array) -> float:
        """Return the error of a step over its bound `scale` (k,), root mean square."""
        raise NotImplementedError

    def polynomial(self, stride: Stride, stages: Array, rate: RateFunction) -> Array:
        """Return the coefficients by which `between` interpolates a step."""
        raise NotImplementedError

    def between(self, stride: Stride, share: Array) -> Array:
        """Return y (m, k) at some shares (m,) of a step."""
        raise NotImplementedError


class _Fifth(Pair):
    """Order 5(4)."""

    def error(self, stages: Array, length: float, scale: Array) -> float:
        found = np.dot(stages.T, RK45.E) * length / scale
        return float(np.linalg.norm(found) / found.size**0.5)

    def polynomial(self, stride: Stride, stages: Array, rate: RateFunction) -> Array:
        coefficients: Array = stages.T.dot(RK45.P)
        return coefficients

    def between(self, stride: Stride, share: Array) -> Array:
        powers = np.cumprod(np.tile(share, (stride.shape.shape[1], 1)), axis=0)
        found = (stride.end - stride.begin) * np.dot(stride.shape, powers)
        found += stride.before[:, None]
        return np.ascontiguousarray(found.T)


class _Eighth(Pair):
    """Order 8(5,3)."""

    def error(self, stages: Array, length: float, scale: Array) -> float:
        fifth = float(np.linalg.norm(np.dot(stages.T, DOP853.E5) / scale) ** 2)
        third = float(np.linalg.norm(np.dot(stages.T, DOP853.E3) / scale) ** 2)
        if fifth == 0 and third == 0:
            return 0.0
        return float(length * fifth / np.sqrt((fifth + 0.01 * third) * len(scale)))

    def polynomial(self, stride: Stride, stages: Array, rate: RateFunction) -> Array:
        length, before = stride.end - stride.begin, stride.before
        for a, c in zip(DOP853.A_EXTRA, DOP853.C_EXTRA, strict=True):
            ahead = np.dot(stages.T, a[: len(stages)]) * length
            stages = np.vstack([stages, rate(stride.begin + c * length, before + ahead)])
        first, change = stages[0], stride.after - before
        found = np.empty((7, len(before)))
        found[0] = change
        found[1] = length * first - change
        found[2] = 2 * change - length * (stride.rate + first)
        found[3:] = length * np.dot(DOP853.D, stages)
        return found

    def between(self, stride: Stride, share: Array) -> Array:
        found = np.zeros((len(share), len(stride.before)))
        for i, row in enumerate(stride.shape[::-1]):
            found += row
            found *= share[:, None] if i % 2 == 0 else 1 - share[:, None]
        found += stride.before
        return found


FIFTH: Final[Pair] = _Fifth(RK45.A, RK45.B, RK45.C, 4)
EIGHTH: Final[Pair] = _Eighth(DOP853.A, DOP853.B, DOP853.C, 7)


@dataclass(frozen=True)
class Stride:
    """One step: y `before` (k,) at `begin`, `after` at `end` with dy/dt there, the length that the
    error allows the one `following`, and the `shape` of y in between."""

    pair: Pair
    begin: float
    end: float
    before: Array
    after: Array
    rate: Array
    following: float
    shape: Array

    def at(self, times: Array) -> Array:
        """Return y (m, k) at times (m,) within it."""
        return self.pair.between(self, (times - self.begin) / (self.end - self.begin))


@dataclass(frozen=True)
class Integration:
    """What stays the same from step to step: the `rate`, the `pair`, bounds of the error relative
    to y and `absolute` (k,), and the time at which it ends."""

    rate: RateFunction
    pair: Pair
    relative: float
    absolute: Array
    end: float

    def start(self, time: float, y: Array, first: float | None) -> Stride:
        """Return a step of no length at `time`, to go on from, with `first` as its next length."""
        slope = self.rate(time, y)
        if first is None:
            first = self._first_length(time, y, slope)
        return Stride(self.pair, time, time, y, y, slope, first, np.zeros((0, 0)))

    def step(self, last: Stride, longest: float) -> Stride | None:
        """Return the step after `last`, at most `longest`; None where no step is short enough."""
        time, y = last.end, last.after
        least = 10 * abs(np.nextafter(time, np.inf) - time)
        length, rejected = max(min(last.following, longest), min(least, longest)), False
        while length >= least:
            end = min(time + length, self.end)
            length = end - time
            stages, after = self._stages(time, y, last.rate, length)
            scale = self.absolute + np.maximum(np.abs(y), np.abs(after)) * self.relative
            error = self.pair.error(stages, length, scale)
            factor = SAFETY * error ** (-1 / (self.pair.lower + 1)) if error else MOST_FACTOR
            if error < 1:
                factor = min(1.0 if rejected else MOST_FACTOR, factor)
                found = Stride(
                    self.pair, time, end, y, after, stages[-1], length * factor, np.zeros((0, 0))
                )
                return replace(found, shape=self.pair.polynomial(found, stages, self.rate))
            length *= max(LEAST_FACTOR, factor)
            rejected = True
        return None

    def _stages(self, time: float, y: Array, slope: Array, length: float) -> tuple[Array, Array]:
        """The stages' rates, the last at the step's end, and y there."""
        pair, count = self.pair, len(self.pair.b)
        stages = np.empty((count + 1, len(y)))
        stages[0] = slope
        for s in range(1, count):
            ahead = np.dot(stages[:s].T, pair.a[s, :s]) * length
            stages[s] = self.rate(time + pair.c[s] * length, y + ahead)
        after = y + length * np.dot(stages[:-1].T, pair.b)
        stages[-1] = self.rate(time + length, after)
        return stages, after

    def _first_length(self, time: float, y: Array, slope: Array) -> float:
        """A length for the first step by how fast y and its rate change (II.4, p. 169)."""
        scale, whole = self.absolute + np.abs(y) * self.relative, self.end - time
        if whole == 0.0:
            return 0.0
        size, fast = (float(np.linalg.norm(v / scale) / v.size**0.5) for v in (y, slope))
        first = min(1e-6 if size < 1e-5 or fast < 1e-5 else 0.01 * size / fast, whole)
        change = self.rate(time + first, y + first * slope) - slope
        bend = float(np.linalg.norm(change / scale) / change.size**0.5) / first
        if fast <= 1e-15 and bend <= 1e-15:
            second = max(1e-6, first * 1e-3)
        else:
            second = float((0.01 / max(fast, bend)) ** (1 / (self.pair.lower + 1)))
        return min(100 * first, second, whole)
