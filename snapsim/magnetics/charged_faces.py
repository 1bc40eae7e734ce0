"""Faces of a body's cells and the charge that a magnetisation puts on them.

    sigma = D M,    sigma_f = sum over the one or two cells of face f of  s n_f . M_cell      [A/m]

M (c, 3) [A/m] constant in a cell, n_f the unit normal of face f, s = +1 for a cell that n_f points
out of and -1 for one it points into; D^T turns potentials on faces into fields times volume in
cells. The faces of a mesh with mirrors are the images of its base faces, as in `demagnetization`,
so that both modules see one and the same body. Assumptions: M constant in a cell, plane faces of
three or four corners. Source: Brown, Magnetostatic Principles in Ferromagnetism, 1962, ch. 3
(from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.hexahedron import cell_faces
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.single_layer import Polygons, polygons
from snapsim.numerics.compilation import bare

MERGE: Final = 1e-9
"""Faces whose centres agree within this share of the body's size are one face."""


@dataclass(frozen=True)
class ChargedFaces:
    """The f faces of a body, body axes.

    `shapes` are the polygons; `centroid` (f, 3) [m] and `moment` (f, 6) [m^2] the mean of
    (x - centroid)(x - centroid)^T over a face, order xx, yy, zz, xy, xz, yz. `cell` (f, 2) the
    cells at a face and `outward` (f, 2, 3) s n_f for each, zero (and cell 0) where there is none.
    """

    shapes: Polygons
    centroid: Array
    moment: Array
    cell: IntArray
    outward: Array


def charged_faces(mesh: CellMesh) -> ChargedFaces:
    """Return the faces of all cells of a mesh."""
    signs = flips(mesh.mirrors)
    base = len(mesh.cells) // len(signs)
    faces = cell_faces(mesh.corners, mesh.cells[:base])
    first = polygons(faces.corners)
    corners = np.concatenate([first.corners * s for s in signs])
    number = _numbers(corners)
    kept = np.unique(number, return_index=True)[1]
    shapes = polygons(corners[kept])
    cell = np.zeros((len(kept), 2), dtype=np.int64)
    outward = np.zeros((len(kept), 2, 3))
    used = np.zeros(len(kept), dtype=np.int64)
    for image, sign in enumerate(signs):
        for f, c, s in zip(faces.face, faces.cell, faces.sign, strict=True):
            at = number[image * len(first.area) + f]
            cell[at, used[at]] = image * base + c
            outward[at, used[at]] = s * sign * first.normal[f]
            used[at] += 1
    centroid, moment = _moments(shapes.corners)
    return ChargedFaces(shapes, centroid, moment, cell, outward)


def _numbers(corners: Array) -> IntArray:
    """Number (k,) of each polygon, the same for those that lie on each other."""
    centre = corners.mean(axis=1)
    grain = MERGE * np.abs(corners).max(initial=1e-300)
    keys = np.round(
        np.concatenate([centre, corners.min(axis=1), corners.max(axis=1)], axis=1) / grain
    )
    known: dict[bytes, int] = {}
    return np.array([known.setdefault((row + 0.0).tobytes(), len(known)) for row in keys])


def _moments(p: Array) -> tuple[Array, Array]:
    """Centroid (f, 3) and second moment (f, 6) of plane polygons (f, 4, 3), as two triangles."""
    halves = [p[:, [0, 1, 2]], p[:, [0, 2, 3]]]
    area = np.stack(
        [np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1) for t in halves]
    )
    w = area / area.sum(axis=0)
    centroid = np.einsum("tf,tfi->fi", w, np.stack([t.mean(axis=1) for t in halves]))
    # About the centroid, so that no digits are lost far from the origin.
    moment = np.zeros((len(p), 3, 3))
    for t, half in enumerate(halves):
        corner = half - centroid[:, None]
        total = corner.sum(axis=1)
        outer = np.einsum("fki,fkj->fij", corner, corner) + total[:, :, None] * total[:, None]
        moment += w[t][:, None, None] * outer / 12
    rows, columns = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]
    return centroid, np.ascontiguousarray(moment[:, rows, columns])


@bare
def charge(cell: IntArray, outward: Array, m: Array, sigma: Array) -> None:
    """Set `sigma` (f,) [A/m] to D M of `m` (c, 3) [A/m]."""
    for f in range(cell.shape[0]):
        total = 0.0
        for k in range(2):
            c = cell[f, k]
            for a in range(3):
                total += outward[f, k, a] * m[c, a]
        sigma[f] = total


@bare
def add_to_cells(cell: IntArray, outward: Array, potential: Array, y: Array) -> None:
    """Add D^T `potential` (f,) to `y` (c, 3)."""
    for f in range(cell.shape[0]):
        for k in range(2):
            c = cell[f, k]
            for a in range(3):
                y[c, a] += outward[f, k, a] * potential[f]
