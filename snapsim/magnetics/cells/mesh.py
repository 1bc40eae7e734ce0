"""Cells of a triangulated solid.

Where the centre sees the whole surface and the surface has few triangles, each triangle and the
centre make a tetrahedron that is cut into four blocks of hexahedra (module `cones`): these follow
the surface exactly and crowd toward it and its edges. Any other solid is filled with tetrahedra
between points of its surface and its interior (module `tetrahedra`). No mirror planes.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells import cones, tetrahedra
from snapsim.magnetics.cells.hexahedron import volume_and_centre
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.parts.shapes import Mesh

SIGHT: Final = 0.1
"""Least height of the centre behind each face's plane, over the largest such height, for cones."""

MOST_OVER: Final = 1.4
"""Cones are used up to this many times the cells that were asked for."""


def divisions(shape: Mesh, base_cells: float) -> Divisions:
    """Return (0, cells along an edge's half) for cones, else (fineness, halvings)."""
    cones_of_one = 4 * len(shape.triangles)
    if cones_of_one <= MOST_OVER * base_cells and _sees_all(shape):
        return 0, max(1, round((base_cells / cones_of_one) ** (1 / 3)))
    return tetrahedra.fineness(shape, base_cells), 1


def octant(shape: Mesh, cut: Divisions) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the whole solid, of its volume and about its centre."""
    if cut[0] == 0:
        return cones.cells(shape.corners, shape.triangles, cut[1])
    corners, cells = tetrahedra.cells(shape, cut[0], cut[1])
    volume, centre = volume_and_centre(corners, cells)
    middle = volume @ centre / volume.sum()
    return (corners - middle) * np.cbrt(shape.volume / volume.sum()), cells


def _sees_all(shape: Mesh) -> bool:
    """Is the centre well behind every triangle's plane?"""
    p = shape.corners[shape.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    height = np.einsum("fi,fi->f", normal, p[:, 0]) / np.linalg.norm(normal, axis=1)
    return bool(height.min() > SIGHT * height.max())


def halved(shape: Mesh, cut: Divisions) -> Divisions:
    """Cells half as long."""
    return (cut[0], 2 * cut[1])


def order(cut: Divisions) -> float:
    """Permeable tetrahedron and octahedron of cones: 1.86 to 1.89; cube of tetrahedra: 1.4."""
    return 1.85 if cut[0] == 0 else 1.4


LAYOUT = CellLayout(divisions, octant, mirrors=(), halved=halved, order=order, share=0.5)
