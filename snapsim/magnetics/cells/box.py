"""Cells of a box: bricks, thinner toward the surface."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.layers import grid, stacked
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.spacing import at_least, fitted, toward_end
from snapsim.parts.shapes import Box

GRADING = 0.85


def divisions(shape: Box, base_cells: float) -> Divisions:
    """Return the numbers of cells along half of x, y and z."""

    def divide(h: float) -> Divisions:
        return tuple(at_least(1, s / 2, h) for s in shape.size)

    return fitted(divide, lambda d: int(np.prod(d)), base_cells)


def octant(shape: Box, cut: Divisions, grading: float = GRADING) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the octant x, y, z >= 0."""
    x, y, z = (s / 2 * toward_end(n, grading) for s, n in zip(shape.size, cut, strict=True))
    flat = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    return stacked(flat, grid(cut[0], cut[1]), z)


LAYOUT = CellLayout(divisions, octant)
