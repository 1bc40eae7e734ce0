"""Rotations and reflections (3, 3) that leave solids as they are, found for shapes to say."""

from __future__ import annotations

from itertools import permutations, product
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray

SAME: Final = 1e-9
"""Places nearer than this share of the size are one."""


def signed_axes() -> list[Array]:
    """Return the 48 rotations and reflections (3, 3) that permute the axes, none the first."""
    found = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[np.arange(3), order] = signs
            found.append(matrix)
    return found


def of_extents(extents: Array) -> list[Array]:
    """Return those that keep the half sizes (3,): all of a box's, and a ball's."""
    return [m for m in signed_axes() if np.allclose(np.abs(m) @ extents, extents, rtol=SAME)]


def of_upright() -> list[Array]:
    """Return those that keep body z or turn it over: a cylinder's, also of equal extents."""
    return [m for m in signed_axes() if abs(m[2, 2]) == 1]


def of_right_prism(polygon: Array) -> list[Array]:
    """Return those of a right prism about the origin on `polygon` (k, 2), half way up z = 0.

    Turns first by how far they go, each with and without the two reflections.
    """
    found = []
    reach = float(np.linalg.norm(polygon, axis=1).max())
    start = np.arctan2(polygon[0, 1], polygon[0, 0])
    for end in np.arctan2(polygon[:, 1], polygon[:, 0]):
        for z, flip in product((1.0, -1.0), (1.0, -1.0)):
            angle = end - flip * start
            c, s = np.cos(angle), np.sin(angle)
            flat = np.array([[c, -s * flip], [s, c * flip]])
            if _same_places(polygon @ flat.T, polygon, reach):
                found.append(np.block([[flat, np.zeros((2, 1))], [np.zeros((1, 2)), z]]))
    return found


def of_surface(corners: Array, triangles: IntArray) -> list[Array]:
    """Return those of `signed_axes` that take corners (n, 3) and triangles (m, 3) to themselves.

    A flat face cut otherwise than its image counts as different: too few are found, never more.
    """
    reach = float(np.abs(corners).max())
    middles = corners[triangles].mean(axis=1)
    found = []
    for matrix in signed_axes():
        places = ((corners, corners @ matrix.T), (middles, middles @ matrix.T))
        if all(_same_places(moved, still, reach) for still, moved in places):
            found.append(matrix)
    return found


def _same_places(one: Array, other: Array, reach: float) -> bool:
    """Are two sets of places (n, k) the same, each place of one next to its own of the other?"""
    from scipy.spatial import cKDTree

    away, nearest = cKDTree(other).query(one)
    return bool(np.all(away <= SAME * reach)) and len(np.unique(nearest)) == len(other)
