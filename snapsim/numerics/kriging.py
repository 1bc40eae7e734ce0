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

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import lapack

from snapsim.arrays import Array
from snapsim.numerics.compilation import compiled, summing

NUGGET: Final = 1e-11
"""Share of the variance by which observations may err: keeps the matrix positive definite."""


@dataclass(frozen=True)
class KrigingEstimate:
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

    def at(self, point: Array, tangent: Array) -> KrigingEstimate:
        """Return what is thought of the place `point` (d,) with `tangent` (d, k)."""
        found = np.empty((2, 1 + tangent.shape[1]))
        estimate(
            point, tangent, self.point, self.tangent, self.length,
            self.factor.T, self.weight, self.variance, found,
        )  # fmt: skip
        return KrigingEstimate(self.mean + float(found[0, 0]), found[0, 1:], found[1, 1:])


def kriging(
    point: Array, tangent: Array, value: Array, slopes: Array, length: float
) -> Kriging | None:
    """Return the interpolant through n places, or None where they lie too close for `length`.

    `point` (n, d), `tangent` (n, d, k), `value` (n,), `slopes` (n, k).
    """
    mean = float(value[-1])
    matrix = np.empty((value.size + slopes.size, value.size + slopes.size))
    fill_lower(point, tangent, length, 1.0 + NUGGET, matrix)
    factor, failed = lapack.dpotrf(matrix.T, lower=0, clean=0, overwrite_a=1)
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


@compiled
def fill_row(u: Array, a: Array, points: Array, tangents: Array, length: float, out: Array) -> None:
    """Set `out` (1 + k, n (1 + k)) to the covariances over s^2 of value and slopes at `u` (d,),
    `a` (d, k), with those at `points` (n, d), `tangents` (n, d, k)."""
    d, k = a.shape
    ahead, behind, l2 = np.empty(k), np.empty(k), length * length
    for j in range(len(points)):
        at = j * (1 + k)
        square = 0.0
        for i in range(d):
            square += (u[i] - points[j, i]) ** 2
        alike = math.exp(-0.5 * square / l2)
        for m in range(k):
            ahead[m] = behind[m] = 0.0
            for i in range(d):
                apart = (u[i] - points[j, i]) / l2
                ahead[m] += apart * a[i, m]
                behind[m] += apart * tangents[j, i, m]
        out[0, at] = alike
        for m in range(k):
            out[0, at + 1 + m] = alike * behind[m]
            out[1 + m, at] = -alike * ahead[m]
            for q in range(k):
                both = 0.0
                for i in range(d):
                    both += a[i, m] * tangents[j, i, q]
                out[1 + m, at + 1 + q] = alike * (both / l2 - ahead[m] * behind[q])


@compiled
def fill_lower(
    points: Array, tangents: Array, length: float, stretch: float, matrix: Array
) -> None:
    """Set the lower triangle of `matrix`, and more, to the covariances over s^2 of value and slopes
    at n places with each other; the diagonal times `stretch`."""
    size = 1 + tangents.shape[2]
    for i in range(len(points)):
        rows = matrix[i * size : (i + 1) * size]
        fill_row(points[i], tangents[i], points[: i + 1], tangents[: i + 1], length, rows)
    for i in range(len(matrix)):
        matrix[i, i] *= stretch


@compiled
def estimate(
    u: Array, a: Array, points: Array, tangents: Array, length: float,
    lower: Array, weight: Array, variance: float, found: Array,
) -> None:  # fmt: skip
    """Set `found` (2, 1 + k) to value and slopes at `u`, `a` less the mean, and, but for the value,
    their deviations; `lower` (m, m) is the lower Cholesky factor."""
    cross = np.empty((len(found[0]), len(weight)))
    fill_row(u, a, points, tangents, length, cross)
    for i in range(len(cross)):
        found[0, i] = dot(cross[i], weight)
    for i in range(1, len(cross)):
        left = 0.0
        for j in range(len(a)):
            left += a[j, i - 1] ** 2 / length**2
        row = cross[i]
        for j in range(len(row)):
            row[j] = (row[j] - dot(lower[j, :j], row[:j])) / lower[j, j]
        left -= dot(row, row)
        found[1, i] = math.sqrt(variance * max(left, 0.0))


@summing
def dot(a: Array, b: Array) -> float:
    """Return the sum of products, in an order that suits the machine."""
    total = 0.0
    for i in range(len(a)):
        total += a[i] * b[i]
    return total
