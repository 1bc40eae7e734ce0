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

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from snapsim.arrays import Array

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


def mixture(load: Array, volume: Array, known: tuple[Solution, ...], tolerance: float) -> Array:
    """Return the weights (k,) of `known`, adding up to 1, that come nearest to `load` (c, 3)."""
    weights = np.zeros(len(known))
    weights[0] = 1.0
    count = len(known) - 1
    if count == 0:
        return weights
    first = known[0].load
    gram, right = np.empty((count, count)), np.empty(count)
    for j in range(count):
        right[j] = _product(known[j + 1].load, load, first, volume)
        for k in range(j + 1):
            gram[j, k] = _product(known[j + 1].load, known[k + 1].load, first, volume)
            gram[k, j] = gram[j, k]
    nothing = np.zeros_like(load)
    ridge = (RIDGE * tolerance + 1e-14) * _product(load, load, nothing, volume)
    if not ridge > 0 or not np.isfinite(gram).all() or not np.isfinite(right).all():
        return weights
    for _ in range(HARDER):
        try:
            share = np.linalg.solve(gram + ridge * np.eye(count), right)
        except np.linalg.LinAlgError:  # the same pose twice, and a ridge below rounding
            share = np.full(count, np.inf)
        if np.abs(share).sum() <= LARGEST:
            weights[1:] = share
            weights[0] = 1.0 - share.sum()
            break
        ridge *= 100.0
    return weights


def mixed(weights: Array, fields: list[Array]) -> Array:
    """Return the sum of weight times field (c, 3)."""
    total = np.zeros_like(fields[0])
    for w, one in zip(weights.tolist(), fields, strict=True):
        if w:
            _add(w, one, total)
    return total


@njit(cache=True, error_model="numpy")
def _product(a: Array, b: Array, origin: Array, volume: Array) -> float:
    """Sum of (a - origin) . (b - origin) / volume."""
    total = 0.0
    for i in range(a.shape[0]):
        part = 0.0
        for k in range(3):
            part += (a[i, k] - origin[i, k]) * (b[i, k] - origin[i, k])
        total += part / volume[i]
    return total


@njit(cache=True, error_model="numpy")
def _add(weight: float, x: Array, total: Array) -> None:
    for i in range(x.shape[0]):
        for k in range(3):
            total[i, k] += weight * x[i, k]
