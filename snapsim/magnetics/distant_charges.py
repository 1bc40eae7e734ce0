"""Charges of a body gathered on a few nodes, for the action of bodies far from each other.

    P = U_a K U_b^T,    U_fn = integral over face f of L_n dS,    K_nm = 1 / (4 pi |x_n - x_m|)

L_n are Lagrange's polynomials on a grid of Chebyshev points in the box around the body, `ORDER`
along each axis, x_n (n, 3) [m] those points, fixed in the body; n = ORDER^3; U (f, n) [m^2]. A
body's charges sigma (f,) act as the point charges U^T sigma, so force and torque are those of point
charges, the exact gradient of this P. Assumption: the boxes lie apart. Error over the energy of
aligned dipoles, centres t times the sum of the half diagonals apart, worst of cube, disc, rod and
ball (the rod's is twice the others'): 2e-3 at t = 1.6, 9e-4 at 2, 1.3e-4 at 3 (measured). Where
`mutual` passes from its own rules to these nodes, P is a mean of both, the weight a polynomial of
t^2 between the two `ENDS`. Source: interpolation of the kernel, Fong & Darve, J. Comput. Phys. 228,
8712 (2009) (from memory).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon import FOUR_PI
from snapsim.numerics.compilation import bare, compiled

ORDER: Final = 4

ENDS: Final = (1.6, 2.0)
"""Distance of the centres over the sum of the half diagonals: from the first on the nodes begin to
count, from the second on they alone do."""

SMALL_CHARGE_ENDS: Final = (0.55, 0.8)
"""The same for charges that are small beside others (those of m - M in `joint_fluxes`), of the gap
between the nodes over the longest edge of both boxes (`gap_between`)."""

HALF_POWER: Final = 8
"""Of squares in the norm that stands for the least of all distances: smooth, and up to 1.7 times
too small."""


class Nodes(NamedTuple):
    """`place` (n, 3) [m] of the nodes, body axes; `gather` (f, n) = U [m^2]; `centre` (3,) and
    `reach` [m], the half diagonal, of the box, `edge` [m] its longest one."""

    place: Array
    gather: Array
    centre: Array
    reach: float
    edge: float


def nodes_of(corners: Array, points: Array) -> Nodes:
    """Return the nodes of faces with `corners` (f, 4, 3) [m] and a rule `points` (f, q, 4)."""
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    centre, half = (low + high) / 2, (high - low) / 2
    u = np.cos(np.pi * (np.arange(ORDER) + 0.5) / ORDER)
    grid = np.stack(np.meshgrid(u, u, u, indexing="ij"), axis=-1).reshape(-1, 3)
    local = (points[:, :, :3] - centre) / half
    along = [_lagrange(u, local[:, :, i]) for i in range(3)]
    each = np.einsum("fqi,fqj,fqk,fq->fijk", *along, points[:, :, 3], optimize=True)
    gather = np.ascontiguousarray(each.reshape(len(points), -1))
    reach, edge = float(np.linalg.norm(half)), 2 * float(half.max())
    return Nodes(centre + half * grid, gather, centre, reach, edge)


def gap_between(a: Nodes, b: Nodes) -> tuple[float, Array]:
    """Return about the least distance of nodes, in the same axes, over the longest edge of both
    boxes, and its gradient (6,) when a is moved [1/m] and turned about the origin."""
    x, y = a.place, b.place
    square = (x * x).sum(axis=1)[:, None] + (y * y).sum(axis=1) - 2 * (x @ y.T)
    nearest = float(square.min())
    each = (nearest / square) ** HALF_POWER
    edge = max(a.edge, b.edge)
    total = float(each.sum())
    gap = math.sqrt(nearest) * total ** (-0.5 / HALF_POWER) / edge
    pull = each / square
    push = (pull.sum(axis=1)[:, None] * x - pull @ y) * (gap / total)
    turn = x.T @ push
    about = turn[[1, 2, 0], [2, 0, 1]] - turn[[2, 0, 1], [1, 2, 0]]
    return gap, np.concatenate([push.sum(axis=0), about])


def gap_weight(gap: float, slope: Array) -> tuple[float, Array]:
    """Return the nodes' weight at a gap as in `gap_between`, and its gradient (6,) by that's."""
    low, high = SMALL_CHARGE_ENDS
    value, rise = _smooth((gap - low) / (high - low))
    return value, rise / (high - low) * slope


def _lagrange(nodes: Array, x: Array) -> Array:
    """Values (..., n) at `x` of the polynomials that are 1 at one of the nodes and 0 at others."""
    out = np.ones((*x.shape, len(nodes)))
    for i, a in enumerate(nodes):
        for j, b in enumerate(nodes):
            if i != j:
                out[..., i] *= (x - b) / (a - b)
    return out


def weight(centres: Array, reach: float) -> tuple[float, Array]:
    """Return the nodes' weight for centres (3,) [m] apart, and its gradient (3,) [1/m]."""
    low, high = (end * reach for end in ENDS)
    span = high * high - low * low
    value, rise = _smooth((float(centres @ centres) - low * low) / span)
    return value, 2 * rise / span * centres


def _smooth(u: float) -> tuple[float, float]:
    """A quintic from 0 at 0 to 1 at 1, and its slope."""
    if not 0 < u < 1:
        return (0.0 if u <= 0 else 1.0), 0.0
    return u * u * u * (10 - u * (15 - 6 * u)), 30 * u * u * (1 - u) * (1 - u)


@compiled
def kernel(a: Array, b: Array) -> Array:
    """Return K (n, m) [1/m] of points `a` (n, 3) and `b` (m, 3) [m]."""
    out = np.empty((len(a), len(b)))
    for i in range(len(a)):
        for j in range(len(b)):
            x, y, z = a[i, 0] - b[j, 0], a[i, 1] - b[j, 1], a[i, 2] - b[j, 2]
            out[i, j] = 1.0 / (FOUR_PI * np.sqrt(x * x + y * y + z * z))
    return out


@bare
def push(a: Array, b: Array, charge_a: Array, charge_b: Array, out: Array) -> None:
    """Add to `out` (6,) minus the gradient of charge_a . K charge_b: force and torque about the
    origin on the points `a` (n, 3)."""
    for i in range(len(a)):
        fx, fy, fz = 0.0, 0.0, 0.0
        for j in range(len(b)):
            x, y, z = a[i, 0] - b[j, 0], a[i, 1] - b[j, 1], a[i, 2] - b[j, 2]
            inverse = 1.0 / (x * x + y * y + z * z)
            k = charge_b[j] * inverse * np.sqrt(inverse)
            fx, fy, fz = fx + k * x, fy + k * y, fz + k * z
        f = charge_a[i] / FOUR_PI
        fx, fy, fz = f * fx, f * fy, f * fz
        out[0] += fx
        out[1] += fy
        out[2] += fz
        out[3] += a[i, 1] * fz - a[i, 2] * fy
        out[4] += a[i, 2] * fx - a[i, 0] * fz
        out[5] += a[i, 0] * fy - a[i, 1] * fx
