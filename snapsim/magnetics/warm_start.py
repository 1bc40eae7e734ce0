"""A first guess from earlier solutions: the same mixture of them as makes up the new load.

    minimise over a_k   sum_i v_i |h - h_0 - sum_k a_k (h_k - h_0)|^2
    x = x_0 + sum_k a_k (x_k - x_0)

h_k (c, 3) [A/m] the fields of the magnets in earlier poses, the newest first, x_k what was found
there: local field and magnetisation M. Exact where M is linear in h and h lies in the span; along
a path, as its polynomial extrapolation, without the poses or times of the steps having to be known.
A ridge weighs the errors of the earlier solutions, which large weights would enlarge. Source:
least squares with Tikhonov's regularisation; idea: Fischer, Comput. Methods Appl. Mech. Eng. 163,
193 (1998) (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare, compiled, summing

DEPTH: Final = 5
"""Earlier solutions that are kept besides the last one."""

RIDGE: Final = 0.01
"""Ridge over (tolerance x square of the field): what a solution's own error costs in a mixture."""

LARGEST: Final = 20.0
"""Sum of |a_k| from which a mixture is not trusted, and the ridge is raised."""

HARDER: Final = 4
"""Ridges, each a hundred times the one before, that are tried."""


class Solution(NamedTuple):
    """Found for one load: `load` v h [A m^2], local field `h` and `m` [A/m], all (c, 3).

    Not A M: mixed from earlier ones its rounding grows along a path, unseen by the residual.
    """

    load: Array
    h: Array
    m: Array


History = tuple[Array, Array, Array, Array, Array, Array]
"""DEPTH + 1 arrays, the newest first; the last one fills up where there are fewer."""


def mixture(load: Array, volume: Array, known: tuple[Solution, ...], tolerance: float) -> Array:
    """Return the weights (k,) of `known`, adding up to 1, that come nearest to `load` (c, 3)."""
    weights = np.zeros(len(known))
    _weigh(load, volume, _six([one.load for one in known]), tolerance, weights)
    return weights


def mixed(weights: Array, fields: list[Array]) -> Array:
    """Return the sum of weight times field (c, 3)."""
    total = np.empty_like(fields[0])
    _mix(weights, _six(fields), total)
    return total


def extrapolated(
    load: Array, volume: Array, known: tuple[Solution, ...], tolerance: float
) -> tuple[Array, Array]:
    """Return local field and magnetisation (c, 3) mixed for `load` (c, 3)."""
    h, m = np.empty_like(load), np.empty_like(load)
    loads, fields, magnetisations = zip(*known, strict=True)
    weights = np.zeros(len(known))
    _weigh(load, volume, _six(loads), tolerance, weights)
    _mix(weights, _six(fields), h)
    _mix(weights, _six(magnetisations), m)
    return h, m


def _six(arrays: Sequence[Array]) -> History:
    """Always as many, so that one compiled version serves all."""
    a = [*arrays, *([arrays[-1]] * (DEPTH + 1 - len(arrays)))]
    return a[0], a[1], a[2], a[3], a[4], a[5]


@compiled
def _weigh(load: Array, volume: Array, loads: History, tolerance: float, weights: Array) -> None:
    """Set `weights` (k,) of the first k of `loads`."""
    count = weights.size - 1
    weights[0] = 1.0
    if count == 0:
        return
    away = np.empty((count + 1, 3 * len(load)))
    _differences(load, loads[0], volume, away[count])
    for k in range(count):
        _differences(loads[k + 1], loads[0], volume, away[k])
    gram = np.empty((count + 1, count + 1))
    finite = True
    for j in range(count + 1):
        for k in range(j + 1):
            gram[j, k] = _dot(away[j], away[k])
            finite = finite and (math.isfinite(gram[j, k]) or j == count == k)
    ridge = (RIDGE * tolerance + 1e-14) * _square(load, volume)
    if not ridge > 0 or not finite:
        return
    for _ in range(HARDER):
        if _solve(gram, ridge, weights):
            break
        ridge *= 100.0


@bare
def _differences(a: Array, b: Array, volume: Array, out: Array) -> None:
    """Set `out` (3c,) to (a - b) / v^(1/2)."""
    for i in range(a.shape[0]):
        scale = 1.0 / math.sqrt(volume[i])
        for k in range(3):
            out[3 * i + k] = scale * (a[i, k] - b[i, k])


@summing
def _dot(a: Array, b: Array) -> float:
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total


@bare
def _square(a: Array, volume: Array) -> float:
    total = 0.0
    for i in range(a.shape[0]):
        total += (a[i, 0] * a[i, 0] + a[i, 1] * a[i, 1] + a[i, 2] * a[i, 2]) / volume[i]
    return total


@compiled
def _solve(gram: Array, ridge: float, weights: Array) -> bool:
    """Set `weights` (k + 1,) by the normal equations, products of the load in the last row of
    `gram` (k + 1, k + 1); False and nothing where they are singular or the weights too large."""
    n = weights.size - 1
    factor, share = np.zeros((n, n)), np.empty(n)
    for j in range(n):  # Cholesky's factor, and forward substitution along with it
        for k in range(j + 1):
            total = gram[j, k] + (ridge if j == k else 0.0)
            for i in range(k):
                total -= factor[j, i] * factor[k, i]
            if j == k and not total > 0:  # the same pose twice, and a ridge below rounding
                return False
            factor[j, k] = math.sqrt(total) if j == k else total / factor[k, k]
        share[j] = gram[n, j]
        for i in range(j):
            share[j] -= factor[j, i] * share[i]
        share[j] /= factor[j, j]
    size, rest = 0.0, 1.0
    for j in range(n - 1, -1, -1):
        for i in range(j + 1, n):
            share[j] -= factor[i, j] * share[i]
        share[j] /= factor[j, j]
        size, rest = size + abs(share[j]), rest - share[j]
    if not size <= LARGEST:
        return False
    weights[0] = rest
    for j in range(n):
        weights[j + 1] = share[j]
    return True


@bare
def _mix(weights: Array, fields: History, total: Array) -> None:
    """Set `total` (c, 3) to the sum of weight times field."""
    for i in range(total.shape[0]):
        for k in range(3):
            total[i, k] = weights[0] * fields[0][i, k]
    for j in range(1, weights.size):
        w, one = weights[j], fields[j]
        if w == 0:
            continue
        for i in range(total.shape[0]):
            for k in range(3):
                total[i, k] += w * one[i, k]
