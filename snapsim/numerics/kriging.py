"""Interpolation of a smooth function from its values and slopes at a few scattered places.

f is taken as one draw of a Gaussian process with covariance s^2 exp(-|u - v|^2 / (2 l^2)) about a
constant; its mean under what was observed is the interpolant, its deviation says how far the truth
may be from it (gradient-enhanced kriging). Observed at place i: f(u_i) and the slopes J_i^T grad f,
u (d,) a point of a surface in d dimensions on which places lie, J (d, k) its tangents there. With
r = u - v the covariances of value and slopes at u with those at v are

    [ 1          r^T J_v / l^2                       ]
    [ -J_u^T r / l^2   J_u^T (1/l^2 - r r^T/l^4) J_v ]  times s^2 exp(-r^2 / (2 l^2)).

The interpolant is smooth and its slopes are the derivatives of its value: work by them is the loss
of value exactly. s^2 follows from the likelihood, l is the likelier of a few. Sources: Rasmussen &
Williams, Gaussian Processes for Machine Learning, 2006, eqs. (2.23), (2.24), (2.30), section 9.4;
Solak et al., Adv. Neural Inf. Process. Syst. 15, 1033 (2003) (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import lapack

from snapsim.arrays import Array

NUGGET: Final = 1e-11
"""Share of the variance by which observations may err: keeps the matrix positive definite."""


@dataclass(frozen=True)
class Estimate:
    """What is thought of one place: `value`, `slopes` (k,), and standard deviations of `slopes`
    (k,), in the units of the observations."""

    value: float
    slopes: Array
    deviation: Array


@dataclass(frozen=True)
class Kriging:
    """An interpolant through n places.

    `point` (n, d) and `tangent` (n, d, k); `length` l, in the unit of the points; `mean`; `factor`
    (m, m), m = n (1 + k), upper Cholesky factor of the covariances over s^2; `weight` (m,);
    `variance` s^2; `surprise`, minus twice the log likelihood up to a constant.
    """

    point: Array
    tangent: Array
    length: float
    mean: float
    factor: Array
    weight: Array
    variance: float
    surprise: float

    def at(self, point: Array, tangent: Array) -> Estimate:
        """Return what is thought of the place `point` (d,) with `tangent` (d, k)."""
        cross = _covariances(point[None], tangent[None], self.point, self.tangent, self.length)
        found = cross @ self.weight
        slopes = cross[1:]
        known, _ = lapack.dtrtrs(self.factor, slopes.T, lower=0, trans=1)
        prior = np.einsum("ij,ij->j", tangent, tangent) / self.length**2
        left = np.maximum(prior - np.einsum("ij,ij->j", known, known), 0.0)
        return Estimate(self.mean + float(found[0]), found[1:], np.sqrt(self.variance * left))


def kriging(
    point: Array, tangent: Array, value: Array, slopes: Array, length: float
) -> Kriging | None:
    """Return the interpolant through n places, or None where they lie too close for `length`.

    `point` (n, d), `tangent` (n, d, k), `value` (n,), `slopes` (n, k).
    """
    mean = float(value[-1])
    matrix = _covariances(point, tangent, point, tangent, length)
    matrix.flat[:: len(matrix) + 1] *= 1.0 + NUGGET
    factor, failed = lapack.dpotrf(matrix, lower=0, clean=0, overwrite_a=1)
    if failed:
        return None
    observed = np.concatenate([(value - mean)[:, None], slopes], axis=1).ravel()
    weight, _ = lapack.dpotrs(factor, observed, lower=0)
    variance = float(observed @ weight) / len(observed)
    if not variance > 0:
        return None
    size = float(np.log(factor.flat[:: len(factor) + 1]).sum())
    surprise = len(observed) * float(np.log(variance)) + 2.0 * size
    return Kriging(point, tangent, length, mean, factor, weight, variance, surprise)


def _covariances(u: Array, a: Array, v: Array, b: Array, length: float) -> Array:
    """Return the covariances over s^2 of value and slopes at `u` (p, d), tangents `a` (p, d, k),
    with those at `v` (n, d), `b` (n, d, k): (p (1 + k), n (1 + k))."""
    p, n, k = len(u), len(v), a.shape[2]
    apart = (u[:, None] - v) / length
    alike = np.exp(-0.5 * np.einsum("pnd,pnd->pn", apart, apart))
    ahead = np.matmul(apart, a) / length
    behind = np.matmul(apart.transpose(1, 0, 2), b).transpose(1, 0, 2) / length
    both = a.transpose(0, 2, 1).reshape(p * k, -1) @ b.transpose(1, 0, 2).reshape(-1, n * k)
    out = np.empty((p, 1 + k, n, 1 + k))
    out[:, 0, :, 0] = alike
    out[:, 0, :, 1:] = alike[:, :, None] * behind
    out[:, 1:, :, 0] = -(alike[:, :, None] * ahead).transpose(0, 2, 1)
    crossed = both.reshape(p, k, n, k) / length**2
    crossed -= ahead.transpose(0, 2, 1)[:, :, :, None] * behind[:, None]
    out[:, 1:, :, 1:] = alike[:, None, :, None] * crossed
    return out.reshape(p * (1 + k), n * (1 + k))
