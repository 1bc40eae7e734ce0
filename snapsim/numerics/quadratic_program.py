"""Small convex quadratic programs with one-sided and two-sided linear conditions.

    minimise  g.d + d.B d/2    subject to  A d >= b,  C d = e:     g + B d = A^T p + C^T q,  p >= 0

B (n, n) positive definite on what C leaves free, A (k, n), C (m, n), p (k,) and q (m,) multipliers.
The equalities are taken out by an orthonormal basis of the null space of C (redundant rows do no
harm), the rest is turned into a least-distance problem and solved as a non-negative least-squares
one, which bears redundant and degenerate conditions. Source: Lawson & Hanson, Solving Least Squares
Problems, SIAM 1995, ch. 23, sections 23.3 and 23.4 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import nnls

from snapsim.arrays import Array

RANK = 1e-10
"""Singular values below this share of the largest count as zero."""

FEASIBLE = 1e-9
"""Residual of the scaled least-squares problem below which no point meets all conditions."""


class Program(NamedTuple):
    """Solution `d` (n,) and the `multiplier` (k,) >= 0 of the one-sided conditions."""

    d: Array
    multiplier: Array


def minimise(
    b_matrix: Array, slope: Array, a: Array, low: Array, c: Array, wanted: Array
) -> Program | None:
    """Return the minimiser for B, g, A, b, C, e in this order; None where nothing is feasible."""
    particular, basis = _affine(c, wanted, len(slope))
    if particular is None:
        return None
    if not basis.shape[1]:
        met = np.all(a @ particular >= low - 1e-9 * (1 + np.abs(low)))
        return Program(particular, np.zeros(len(low))) if met else None
    triangle = np.linalg.cholesky(basis.T @ b_matrix @ basis)
    back = np.linalg.solve(triangle, basis.T).T  # d = particular + back x
    free = -back.T @ (slope + b_matrix @ particular)
    found = least_distance(a @ back, low - a @ (particular + back @ free))
    if found is None:
        return None
    return Program(particular + back @ (free + found.d), found.multiplier)


def least_distance(g: Array, h: Array) -> Program | None:
    """Return the shortest x (n,) with g x >= h, g (k, n), h (k,); None where there is none."""
    count, n = g.shape
    high = float(h.max(initial=0.0))
    if high <= 0.0:
        return Program(np.zeros(n), np.zeros(count))
    length = np.linalg.norm(g, axis=1)
    if np.any((length == 0.0) & (h > 0.0)):
        return None
    used = length > 0.0
    rows, floor = g[used] / length[used, None], h[used] / length[used]
    unit = float(floor.max())
    system = np.vstack([rows.T, floor / unit])
    target = np.zeros(n + 1)
    target[n] = 1.0
    weights, misfit = nnls(system, target, maxiter=50 * (count + n))
    residual = system @ weights - target
    if misfit < FEASIBLE or residual[n] >= -(FEASIBLE**2):
        return None
    multiplier = np.zeros(count)
    multiplier[used] = unit * weights / -residual[n] / length[used]
    return Program(-unit * residual[:n] / residual[n], multiplier)


def _affine(c: Array, wanted: Array, n: int) -> tuple[Array | None, Array]:
    """Return one solution (n,) of C d = e (None where there is none) and a null-space basis."""
    if not len(wanted):
        return np.zeros(n), np.eye(n)
    u, size, vt = np.linalg.svd(c)
    rank = int(np.sum(size > RANK * max(float(size[0]), 1e-300)))
    share = u.T @ wanted
    particular: Array = vt[:rank].T @ (share[:rank] / size[:rank])
    left = float(np.linalg.norm(share[rank:]))
    met = left <= 1e-6 * (float(np.linalg.norm(wanted)) + 1e-12)
    return (particular if met else None), vt[rank:].T
