"""Cells of a hexagonal nut: from the round bore out to the flats.

The bore is a regular polygon of the circle's own area, so the volume is exact.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.errors import InputError
from snapsim.magnetics.cells.layers import grid, stacked
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.ring import equal_area, quarter
from snapsim.magnetics.cells.spacing import (
    at_least,
    fitted,
    toward_both_ends,
    toward_end,
)
from snapsim.parts.shapes import HexNut

GRADING = 0.85
MOST_ALONG = 24
"""Cells along half a flat beyond which a wall is called too thin."""


def divisions(shape: HexNut, base_cells: float) -> Divisions:
    """Return the numbers of cells across the wall, along half a flat, and along half the length."""
    apothem, bore = shape.across_flats / 2, shape.bore / 2
    fewest = _fewest(apothem / bore)

    def divide(h: float) -> Divisions:
        return (
            at_least(1, 1.05 * apothem - bore, h),
            at_least(fewest, np.pi / 12 * (1.05 * apothem + bore), h),
            at_least(1, shape.length / 2, h),
        )

    return fitted(divide, lambda d: 3 * int(np.prod(d)), base_cells)


def octant(shape: HexNut, cut: Divisions, grading: float = GRADING) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the octant x, y, z >= 0."""
    across, half_flat, along = cut
    bore = equal_area(12 * half_flat) * shape.bore / 2 * quarter(3 * half_flat)
    flats = shape.across_flats / 2 * _flats(half_flat)
    step = toward_both_ends(across, grading)[:, None, None]
    flat = ((1 - step) * bore + step * flats).reshape(-1, 2)
    levels = shape.length / 2 * toward_end(along, grading)
    return stacked(flat, grid(across, 3 * half_flat), levels)


def _fewest(ratio: float) -> int:
    """Cells along half a flat that keep the bore's polygon inside the flats.

    `ratio` is apothem over bore radius. Raises InputError where the wall is too thin for any.
    """
    for half_flat in range(1, MOST_ALONG + 1):
        if equal_area(12 * half_flat) - 1 < 0.5 * (ratio - 1):
            return half_flat
    raise InputError("must leave a wall of at least 0.01 % of across_flats", key="shape.bore")


def _flats(half_flat: int) -> Array:
    """Return points (3 half_flat + 1, 2) on the hexagon of unit apothem from its corner on +x to
    the middle of the flat on +y."""
    corner = np.array([[2.0, 0.0], [1.0, np.sqrt(3.0)], [0.0, np.sqrt(3.0)]]) / np.sqrt(3.0)
    t = np.arange(2 * half_flat)[:, None] / (2 * half_flat)
    first = (1 - t) * corner[0] + t * corner[1]
    t = np.arange(half_flat + 1)[:, None] / half_flat
    return np.concatenate([first, (1 - t) * corner[1] + t * corner[2]])


LAYOUT = CellLayout(divisions, octant)
