"""Integrals over hexahedra."""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array

SIGNS: Final = np.array(
    [(x, y, z) for z in (-1, 1) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
)
"""Corners of a hexahedron in their order, in shares of its half edges."""


def gauss_points(corner: Array) -> tuple[Array, Array]:
    """Return two points an axis (c, 8, 3) [m] of hexahedra (c, 8, 3) and their volumes (c, 8)."""
    factor = 1 + SIGNS[:, None] * SIGNS / np.sqrt(3)  # (point, corner, axis)
    place = np.einsum("pk,cki->cpi", factor.prod(axis=2) / 8, corner)
    columns = []
    for axis in range(3):
        others = np.delete(factor, axis, axis=2).prod(axis=2) * SIGNS[:, axis] / 8
        columns.append(np.einsum("pk,cki->cpi", others, corner))
    return place, np.abs(np.linalg.det(np.stack(columns, axis=-1)))
