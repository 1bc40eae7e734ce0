"""What each shape's file offers: into how many cells, and where their corners are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from snapsim.arrays import Array, IntArray

Divisions = tuple[int, ...]
"""Numbers of cells along the directions of a layout; doubling all of them halves every cell."""


@dataclass(frozen=True)
class Layout:
    """How a shape symmetric in x = 0, y = 0 and z = 0 is cut into cells.

    `divisions(shape, base_cells)` chooses the numbers of cells along each direction so that the
    octant has about that many, nearly cubic ones; `octant(shape, divisions)` returns the corners
    (p, 3) [m] and cells (b, 8) of the octant x, y, z >= 0.
    """

    divisions: Callable[[Any, float], Divisions]
    octant: Callable[[Any, Divisions], tuple[Array, IntArray]]
