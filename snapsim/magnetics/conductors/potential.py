"""What currents in a conductor heat at most: the other side of what its network finds.

    sigma min over u of int |E - grad u|^2 dV   =   P   =   max over J of int (2 J.E - J^2/sigma) dV

E [V/m] what drives, P [W] the heat, both while the currents' own field is small. J has no sources
and does not leave the body (Thomson), u [V] is any potential (Dirichlet): every choice of u gives
too much heat, every choice of J too little, and the truth lies between (Synge, The Hypercircle in
Mathematical Physics, 1957, ch. 2 to 4; from memory). Here u is of the second degree along each edge
of the cells, and need not be the best one: the bound holds as long as the integral does, 27 points
a cell. Cells that are not joined count as insulated on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import cg

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.conductors.hexahedra import SIGNS

SAME: Final = 1e-7
"""Nodes closer than this share of a body's size are one."""

AGREED: Final = 1e-3
"""Residual, over what drives, to which u is sought."""

LATTICE: Final = np.array([(x, y, z) for z in (-1, 0, 1) for y in (-1, 0, 1) for x in (-1, 0, 1)])
"""Nodes of a cell in shares of its half edges; times the root of 3/5, its points."""


@dataclass(frozen=True, eq=False)
class PotentialBound:
    """`points` (p, 3) [m] of a body and their `weights` (p,) [m^3]; `slopes` (c, q, 27, 3) [1/m] of
    potentials in its cells by their `nodes` (c, 27), and the `stiffness` (n, n) [m] of these."""

    points: Array
    weights: Array
    slopes: Array
    nodes: IntArray
    stiffness: Any

    def heat(self, drive: Array) -> float:
        """Return an upper bound of P / sigma [V^2 m] of E (p, 3) [V/m] at the points."""
        cells = len(self.nodes)
        weighed = (self.weights[:, None] * drive).reshape(cells, 1, -1)
        load = np.zeros(self.stiffness.shape[0])
        by_node = self.slopes.transpose(0, 1, 3, 2).reshape(cells, -1, 27)
        np.add.at(load, self.nodes, (weighed @ by_node)[:, 0])
        scale = diags(1 / self.stiffness.diagonal())
        potential, _ = cg(self.stiffness, load, rtol=AGREED, maxiter=400, M=scale)
        own = float(self.weights @ (drive**2).sum(axis=1))
        taken = 2 * load @ potential - potential @ (self.stiffness @ potential)
        return own - float(taken)


def potential_bound(mesh: CellMesh) -> PotentialBound:
    """Return what bounds the heat of a body with these cells."""
    corner = mesh.corners[mesh.cells]
    nodes, count = _nodes(corner)
    root = np.sqrt(0.6) * LATTICE
    shape, slope = _linear(root)
    points = np.einsum("qk,cki->cqi", shape, corner)
    jacobian = np.einsum("qka,cki->cqia", slope, corner)
    gauss = np.where(LATTICE == 0, 8 / 9, 5 / 9).prod(axis=1)
    weights = np.abs(np.linalg.det(jacobian)) * gauss
    slopes = np.einsum("qka,cqai->cqki", _quadratic(root), np.linalg.inv(jacobian))
    flat = (slopes * np.sqrt(weights)[:, :, None, None]).transpose(0, 2, 1, 3)
    flat = flat.reshape(len(nodes), 27, -1)
    local = flat @ flat.transpose(0, 2, 1)
    rows, columns = np.repeat(nodes, 27, axis=1), np.tile(nodes, (1, 27))
    stiffness = coo_matrix((local.ravel(), (rows.ravel(), columns.ravel())), (count, count))
    return PotentialBound(points.reshape(-1, 3), weights.ravel(), slopes, nodes, stiffness.tocsr())


def _nodes(corner: Array) -> tuple[IntArray, int]:
    """The numbers (c, 27) of the nodes of hexahedra (c, 8, 3), and how many there are."""
    place = np.einsum("nk,cki->cni", _linear(LATTICE)[0], corner).reshape(-1, 3)
    size = float(np.ptp(place, axis=0).max())
    whole = np.round(place / (SAME * size)).astype(np.int64)
    found, number = np.unique(whole, axis=0, return_inverse=True)
    return number.reshape(-1, 27), len(found)


def _linear(at: Array) -> tuple[Array, Array]:
    """Shares (q, 8) of a hexahedron's corners at places (q, 3) in it, and slopes (q, 8, 3)."""
    factor = 1 + SIGNS * at[:, None]
    slope = [np.delete(factor, a, axis=2).prod(axis=2) * SIGNS[:, a] for a in range(3)]
    return factor.prod(axis=2) / 8, np.stack(slope, axis=-1) / 8


def _quadratic(at: Array) -> Array:
    """Slopes (q, 27, 3) at places (q, 3) of what is 1 at one node and 0 at all others."""
    x, n = at[:, None], LATTICE
    value = np.where(n == 0, 1 - x**2, x * (x + n) / 2)
    slope = np.where(n == 0, -2 * x, x + n / 2)
    parts = [np.delete(value, a, axis=2).prod(axis=2) * slope[..., a] for a in range(3)]
    return np.stack(parts, axis=-1)
