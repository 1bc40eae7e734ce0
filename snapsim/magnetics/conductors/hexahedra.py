"""Integrals over hexahedra."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array


def gauss_points(corner: Array) -> tuple[Array, Array]:
    """Return two points an axis (c, 8, 3) [m] of hexahedra (c, 8, 3) and their volumes (c, 8)."""
    signs = np.array([(x, y, z) for z in (-1, 1) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    factor = 1 + signs[:, None] * signs / np.sqrt(3)  # (point, corner, axis)
    place = np.einsum("pk,cki->cpi", factor.prod(axis=2) / 8, corner)
    columns = []
    for axis in range(3):
        others = np.delete(factor, axis, axis=2).prod(axis=2) * signs[:, axis] / 8
        columns.append(np.einsum("pk,cki->cpi", others, corner))
    return place, np.abs(np.linalg.det(np.stack(columns, axis=-1)))
