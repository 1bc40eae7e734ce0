"""Cells of a cylinder: a rounded square core within shells that become the rim.

The rim is a regular polygon of the circle's own area, so the volume is exact; no slivers meet on
the axis.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.layers import grid, stacked
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.ring import equal_area, quarter
from snapsim.magnetics.cells.spacing import at_least, fitted, toward_end
from snapsim.parts.shapes import Cylinder

GRADING = 0.85
CORE = 0.65
"""Half width of the core along x and y, over the radius."""
ROUNDING = 0.5
"""How far the core is drawn from a square (0) toward a disc (1)."""


def divisions(shape: Cylinder, base_cells: float) -> Divisions:
    """Return the numbers of cells along half the core, across the shells, along half the length."""
    radius = shape.diameter / 2

    def divide(h: float) -> Divisions:
        return (
            at_least(1, 0.7 * radius, h),
            at_least(1, 0.5 * radius, h),
            at_least(1, shape.length / 2, h),
        )

    return fitted(divide, lambda d: (d[0] ** 2 + 2 * d[0] * d[1]) * d[2], base_cells)


def octant(shape: Cylinder, cut: Divisions, grading: float = GRADING) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the octant x, y, z >= 0."""
    core, shells, along = cut
    flat, loops = quarter_disc(core, shells, grading)
    flat *= equal_area(8 * core) * shape.diameter / 2
    return stacked(flat, loops, shape.length / 2 * toward_end(along, grading))


def quarter_disc(core: int, shells: int, grading: float) -> tuple[Array, IntArray]:
    """Return nodes (k, 2) and loops (q, 4) of the unit disc's first quadrant.

    The core has core x core cells, the shells 2 core x shells.
    """
    t = np.arange(core + 1) / core
    square = np.stack(np.meshgrid(t, t, indexing="ij"), axis=-1).reshape(-1, 2)
    inside = CORE * _rounded(square)
    edge = [core * (core + 1) + j for j in range(core + 1)]
    edge += [i * (core + 1) + core for i in range(core - 1, -1, -1)]
    rim = quarter(2 * core)
    step = toward_end(shells, grading)[1:, None, None]
    shell = (1 - step) * inside[edge] + step * rim
    names = np.concatenate(
        [[edge], len(inside) + np.arange(shell[..., 0].size).reshape(shells, -1)]
    )
    loops = names.reshape(-1)[grid(shells, 2 * core)]
    return np.concatenate([inside, shell.reshape(-1, 2)]), np.concatenate([grid(core, core), loops])


def _rounded(square: Array) -> Array:
    """Draw points of the unit square toward the disc along rays from the origin."""
    reach = square.max(axis=1, keepdims=True)
    length = np.linalg.norm(square, axis=1, keepdims=True)
    share = ROUNDING * reach
    factor = np.where(length > 0, (1 - share) + share * reach / np.where(length > 0, length, 1), 1)
    return np.asarray(square * factor)


LAYOUT = CellLayout(divisions, octant)
