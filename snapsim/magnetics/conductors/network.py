"""A conductor as a network: currents through the faces between cells, none through its surface.

    J_c = (1/V) sum over the faces f of a cell of (x_f - x_c) I_f

I_f [A] the current out of cell c through face f, x_f and x_c [m] centroids of face and cell, V
[m^3] its volume, J_c (3,) [A/m^2] the mean density: exact where what flows in flows out and is even
on each face (Gauss' theorem on x_i J). Currents without sources are the null space of the cells'
balance, loops round every hole included. The heat of a cell is

    P = (1/sigma) [ V |J_c|^2 + e sum over f of h_f^2 / (6 V) (I_f - a_f . J_u)^2 ]

h_f = 2 |x_f - x_c|, a_f [m^2] a face's outward area vector, J_u the even density nearest to the
cell's currents: what is not even costs as in a brick, where this is the lowest element of Raviart
and Thomas to the last digit (mimetic finite differences: Brezzi, Lipnikov & Simoncini, Math. Models
Methods Appl. Sci. 15, 1533 (2005); from memory). Fewer currents than the body may have heat less
for a given field, so that coarse cells brake too little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.contract import CellMesh

FACES: Final = np.array(
    [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [2, 3, 7, 6], [1, 2, 6, 5], [3, 0, 4, 7]]
)
"""Corners of a hexahedron's faces, one after the other round each."""

SAME: Final = 1e-7
"""Corners closer than this share of a body's size are one."""


@dataclass(frozen=True)
class Network:
    """c cells and f inner faces. `balance` (c, f) sums the currents out of each cell; `density`
    (3 c, f) [1/m^2] gives the cells' mean densities; `resistance` (f, f), times 1/sigma, the heat.
    """

    balance: Array
    density: Array
    resistance: Array


@dataclass(frozen=True)
class _Sides:
    """All sides of all cells: the `cell` (s,) of each, its inner face's number `shared` (s,), -1 on
    the surface, and its `sign` (s,) there; `centre` (s, 3) [m] and outward `area` (s, 3) [m^2]."""

    cell: IntArray
    shared: IntArray
    sign: Array
    centre: Array
    area: Array


def network(mesh: CellMesh, uneven: float = 1.0) -> Network:
    """Return the network of a mesh's cells; `uneven` is e above."""
    sides = _sides(mesh)
    cells, faces = len(mesh.volume), int(sides.shared.max(initial=-1)) + 1
    balance, density = np.zeros((cells, faces)), np.zeros((cells, 3, faces))
    resistance = np.zeros((faces, faces))
    order = np.argsort(sides.cell, kind="stable")
    for c, rows in enumerate(np.split(order, np.cumsum(np.bincount(sides.cell))[:-1])):
        arm, area = sides.centre[rows] - mesh.centre[c], sides.area[rows]
        heat = _heat(arm, area, mesh.volume[c], uneven)
        inner = sides.shared[rows] >= 0
        at, sign = sides.shared[rows][inner], sides.sign[rows][inner]
        balance[c, at] += sign
        density[c][:, at] += arm[inner].T * sign / mesh.volume[c]
        resistance[np.ix_(at, at)] += sign[:, None] * heat[np.ix_(inner, inner)] * sign
    return Network(balance, density.reshape(3 * cells, faces), resistance)


def _heat(arm: Array, area: Array, volume: float, share: float) -> Array:
    """The heat (k, k), times 1/sigma, of the currents (k,) out of one cell through its faces."""
    rest = np.eye(len(arm)) - area @ np.linalg.pinv(area)
    cost = share * 4 * (arm**2).sum(axis=1) / (6 * volume)
    heat: Array = arm @ arm.T / volume + rest.T @ (cost[:, None] * rest)
    return heat


def _sides(mesh: CellMesh) -> _Sides:
    """The sides of all cells; a wedge's flat one is none."""
    corner, number = _corners(mesh)
    sides = number[mesh.cells][:, FACES].reshape(-1, 4)
    cell = np.repeat(np.arange(len(mesh.cells)), len(FACES))
    keys = [tuple(sorted(set(row))) for row in sides.tolist()]
    solid = np.array([len(key) > 2 for key in keys])
    sides, cell = sides[solid], cell[solid]
    keys = [key for key, kept in zip(keys, solid, strict=True) if kept]
    met: dict[tuple[int, ...], list[int]] = {}
    for s, key in enumerate(keys):
        met.setdefault(key, []).append(s)
    shared, sign = np.full(len(keys), -1), np.zeros(len(keys))
    for f, pair in enumerate(p for p in met.values() if len(p) == 2):
        shared[pair], sign[pair] = f, (1.0, -1.0)
    centre, area = _centroids(corner[sides])
    outward = np.sign(((centre - mesh.centre[cell]) * area).sum(axis=1))
    return _Sides(cell, shared, sign, centre, area * outward[:, None])


def _corners(mesh: CellMesh) -> tuple[Array, IntArray]:
    """Corners (p, 3) and the number (p,) of the first one at each one's place."""
    size = float(np.ptp(mesh.corners, axis=0).max())
    places = np.round(mesh.corners / (SAME * size)).astype(np.int64)
    _, number = np.unique(places, axis=0, return_inverse=True)
    return _first(mesh.corners, number.ravel()), number.ravel()


def _first(corners: Array, number: IntArray) -> Array:
    found = np.empty((number.max() + 1, 3))
    found[number[::-1]] = corners[::-1]
    return found


def _centroids(corner: Array) -> tuple[Array, Array]:
    """Centroids (s, 3) and area vectors (s, 3) of sides with corners (s, 4, 3)."""
    middle = corner.mean(axis=1, keepdims=True)
    one, two = corner - middle, np.roll(corner, -1, axis=1) - middle
    parts = 0.5 * np.cross(one, two)
    area = parts.sum(axis=1)
    size = np.linalg.norm(parts, axis=2)
    centre = (middle + (one + two) / 3) * size[:, :, None]
    return centre.sum(axis=1) / size.sum(axis=1)[:, None], area
