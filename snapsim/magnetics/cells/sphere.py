"""Cells of a ball: a rounded cube core within shells, no slivers at centre, axis or poles.

Outer faces are triangles on the ball, drawn larger so that the volume is exact.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.hexahedron import volume_and_centre
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.spacing import at_least, fitted, toward_end
from snapsim.parts.shapes import Sphere

GRADING = 0.0
CORE = 0.55
"""Half width of the core along the axes, over the radius."""
ROUNDING = 0.6
"""How far the core is drawn from a cube (0) toward a ball (1)."""


def divisions(shape: Sphere, base_cells: float) -> Divisions:
    """Return the numbers of cells along half the core and across the shells."""
    radius = shape.diameter / 2

    def divide(h: float) -> Divisions:
        return at_least(1, 0.65 * radius, h), at_least(1, 0.5 * radius, h)

    return fitted(divide, lambda d: d[0] ** 3 + 3 * d[0] ** 2 * d[1], base_cells)


def octant(shape: Sphere, cut: Divisions, grading: float = GRADING) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the octant x, y, z >= 0."""
    core, shells = cut
    t = np.tan(np.pi / 4 * np.arange(core + 1) / core)
    t[-1] = 1.0
    cube = np.stack(np.meshgrid(t, t, t, indexing="ij"), axis=-1)
    inside = (CORE * _rounded(cube)).reshape(-1, 3)
    number = np.arange(len(inside)).reshape(cube.shape[:3])
    corners, cells = [inside], [_bricks(number)]
    skin = np.unique(np.concatenate([np.take(number, core, axis).ravel() for axis in range(3)]))
    rim = inside[skin] / np.linalg.norm(inside[skin], axis=1, keepdims=True)
    where = np.full((shells + 1, len(inside)), -1)
    where[0, skin] = skin
    for k, step in enumerate(toward_end(shells, grading)[1:], start=1):
        where[k, skin] = sum(map(len, corners)) + np.arange(len(skin))
        corners.append((1 - step) * inside[skin] + step * rim)
    for axis in range(3):
        patch = np.moveaxis(number, axis, 0)[core]
        patch = patch.T if axis == 1 else patch
        cells.append(_bricks(np.moveaxis(where[:, patch], 0, 2)))
    return _to_volume(np.concatenate(corners), np.concatenate(cells), shape.volume / 8)


def _rounded(cube: Array) -> Array:
    """Draw points of the unit cube toward the ball along rays from the origin."""
    reach = cube.max(axis=-1, keepdims=True)
    length = np.linalg.norm(cube, axis=-1, keepdims=True)
    share = ROUNDING * reach
    factor = np.where(length > 0, (1 - share) + share * reach / np.where(length > 0, length, 1), 1)
    return np.asarray(cube * factor)


def _bricks(number: IntArray) -> IntArray:
    """Cells (n, 8) of a block of corner numbers (i, j, k), right-handed in that order."""
    a = number
    loop = [a[:-1, :-1], a[1:, :-1], a[1:, 1:], a[:-1, 1:]]
    bottom = [b[:, :, :-1] for b in loop]
    top = [b[:, :, 1:] for b in loop]
    return np.stack([b.ravel() for b in bottom + top], axis=1)


def _to_volume(corners: Array, cells: IntArray, volume: float) -> tuple[Array, IntArray]:
    """Stretch the mesh to a given volume [m^3]."""
    drawn = volume_and_centre(corners, cells)[0].sum()
    return corners * np.cbrt(volume / drawn), cells


LAYOUT = CellLayout(divisions, octant)
