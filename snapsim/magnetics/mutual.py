"""How two soft bodies magnetise and pull each other: cross blocks of the joint energy.

    E_ab = mu_0 sum_ij M_i . C_ij M_j,   C_ij = -v_i v_j sum_pq w_ip w_jq K(x_ip - x_jq),
    K(r) = (3 r r^T / r^2 - 1) / (4 pi r^3)

M (c, 3) [A/m], v (c,) [m^3], x (c, q, 3) [m] and w (c, q) points and weights of the cells, K the
field of a point dipole (Jackson, Classical Electrodynamics, 3rd ed., eq. 5.56 over mu_0; from
memory). C joins body a to b, its transpose b to a; force and torque are the gradient of this E_ab,
and its isotropy makes the total force and the total angular momentum balance to rounding.

Assumptions and accuracy: the points carry a cell's second moments, so a pair of cells errs by
(cell size / distance)^4; bodies a cell apart err by several per cent, bodies that touch by more,
and there nothing guarantees that the joint energy stays convex. Above `POINTS_LIMIT` pairs of
cells each cell acts from its centre alone: error (cell size / distance)^2 for elongated cells.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.cells.contract import CellMesh

POINTS_LIMIT = 100_000
"""Pairs of cells above which centres stand for cells; fixed per pair, so the energy is smooth."""


def acting_points(mesh: CellMesh, other: CellMesh) -> tuple[Array, Array]:
    """Return points (c, q, 3) [m], body axes, and weights (c, q) from which `mesh` acts."""
    if len(mesh.volume) * len(other.volume) > POINTS_LIMIT:
        return mesh.centre[:, None, :].copy(), np.ones((len(mesh.volume), 1))
    return mesh.points, mesh.weights


@njit(cache=True, error_model="numpy")
def cross_block(
    points_a: Array,
    carry_a: Array,
    points_b: Array,
    carry_b: Array,
    rotation_a: Array,
    rotation_b: Array,
    block: Array,
) -> None:
    """Set `block` (3 c_a, 3 c_b) [m^3] to C in body axes on both sides.

    World points (c, q, 3) [m] and `carry` = v w (c, q) [m^3] of both, rotations body to world.
    """
    k = np.empty((3, 3))
    for i in range(points_a.shape[0]):
        for j in range(points_b.shape[0]):
            _pair(points_a[i], carry_a[i], points_b[j], carry_b[j], k)
            for a in range(3):
                for b in range(3):
                    total = 0.0
                    for s in range(3):
                        for t in range(3):
                            total += rotation_a[s, a] * k[s, t] * rotation_b[t, b]
                    block[3 * i + a, 3 * j + b] = total


@njit(cache=True, error_model="numpy")
def _pair(xs: Array, ws: Array, ys: Array, us: Array, k: Array) -> None:
    """Set `k` (3, 3) to -sum of carry carry K, world axes."""
    xx, xy, xz, yy, yz, zz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for p in range(xs.shape[0]):
        for q in range(ys.shape[0]):
            r0, r1, r2 = xs[p, 0] - ys[q, 0], xs[p, 1] - ys[q, 1], xs[p, 2] - ys[q, 2]
            square = 1.0 / (r0 * r0 + r1 * r1 + r2 * r2)
            f = ws[p] * us[q] / (4 * math.pi) * square * math.sqrt(square)
            g = 3 * square * f
            xx += f - g * r0 * r0
            yy += f - g * r1 * r1
            zz += f - g * r2 * r2
            xy -= g * r0 * r1
            xz -= g * r0 * r2
            yz -= g * r1 * r2
    k[0, 0], k[1, 1], k[2, 2] = xx, yy, zz
    k[0, 1], k[0, 2], k[1, 2] = xy, xz, yz
    k[1, 0], k[2, 0], k[2, 1] = xy, xz, yz


@njit(cache=True, error_model="numpy")
def pair_force(
    points_a: Array,
    carry_a: Array,
    m_a: Array,
    points_b: Array,
    carry_b: Array,
    m_b: Array,
    centre_a: Array,
    wrench: Array,
) -> None:
    """Set `wrench` (6,) to force [N] and torque about `centre_a` [N m] on body a from body b.

    `m_a`, `m_b` (c, 3) world axes [A/m]; the rest as for `cross_block`.
    """
    wrench[:] = 0.0
    part = np.empty(6)
    for i in range(points_a.shape[0]):
        for p in range(points_a.shape[1]):
            x = points_a[i, p]
            part[:] = 0.0
            for j in range(points_b.shape[0]):
                for q in range(points_b.shape[1]):
                    _dipoles(x - points_b[j, q], m_a[i], m_b[j], carry_b[j, q], part)
            d = x - centre_a
            w = carry_a[i, p]
            for a in range(3):
                b, c = (a + 1) % 3, (a + 2) % 3
                wrench[a] += w * part[a]
                wrench[3 + a] += w * (d[b] * part[c] - d[c] * part[b] + part[3 + a])


@njit(cache=True, error_model="numpy")
def _dipoles(r: Array, m: Array, n: Array, carry: float, part: Array) -> None:
    """Add force and torque on dipole density `m` at distance `r` from density `n`."""
    square = r[0] * r[0] + r[1] * r[1] + r[2] * r[2]
    inverse = 1.0 / square
    f = MU_0 * carry / (4 * math.pi) * inverse * math.sqrt(inverse)
    rm = r[0] * m[0] + r[1] * m[1] + r[2] * m[2]
    rn = r[0] * n[0] + r[1] * n[1] + r[2] * n[2]
    mn = m[0] * n[0] + m[1] * n[1] + m[2] * n[2]
    g = 3 * f * inverse
    h0 = g * rn * r[0] - f * n[0]
    h1 = g * rn * r[1] - f * n[1]
    h2 = g * rn * r[2] - f * n[2]
    radial = g * (mn - 5 * rm * rn * inverse)
    part[0] += g * (rn * m[0] + rm * n[0]) + radial * r[0]
    part[1] += g * (rn * m[1] + rm * n[1]) + radial * r[1]
    part[2] += g * (rn * m[2] + rm * n[2]) + radial * r[2]
    part[3] += m[1] * h2 - m[2] * h1
    part[4] += m[2] * h0 - m[0] * h2
    part[5] += m[0] * h1 - m[1] * h0
