"""Cells of a ring: sectors between chords, thinner toward the surface.

Both rims are regular polygons of the circles' own areas, so volumes are exact.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.layers import grid, stacked
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.spacing import (
    at_least,
    fitted,
    toward_both_ends,
    toward_end,
)
from snapsim.parts.shapes import Ring

GRADING = 0.85


def divisions(shape: Ring, base_cells: float) -> Divisions:
    """Return the numbers of cells across the wall, round a quarter, and along half the length."""
    outer, inner = shape.outer_diameter / 2, shape.inner_diameter / 2

    def divide(h: float) -> Divisions:
        return (
            at_least(1, outer - inner, h),
            at_least(2, np.pi / 4 * (outer + inner), h),
            at_least(1, shape.length / 2, h),
        )

    return fitted(divide, lambda d: int(np.prod(d)), base_cells)


def equal_area(chords: int) -> float:
    """Return what a radius is stretched by so that a polygon of that many chords has the area of
    its circle."""
    return float(np.sqrt(2 * np.pi / chords / np.sin(2 * np.pi / chords)))


def octant(shape: Ring, cut: Divisions, grading: float = GRADING) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the octant x, y, z >= 0."""
    across, turn, along = cut
    outer, inner = shape.outer_diameter / 2, shape.inner_diameter / 2
    radius = inner + (outer - inner) * toward_both_ends(across, grading)
    flat = (equal_area(4 * turn) * radius[:, None, None] * quarter(turn)).reshape(-1, 2)
    return stacked(flat, grid(across, turn), shape.length / 2 * toward_end(along, grading))


def quarter(turn: int) -> Array:
    """Return turn + 1 unit directions (turn + 1, 2) from +x to +y, exact at both ends."""
    angle = np.pi / 2 * np.arange(turn + 1) / turn
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    direction[0], direction[-1] = (1.0, 0.0), (0.0, 1.0)
    return direction


LAYOUT = CellLayout(divisions, octant)
