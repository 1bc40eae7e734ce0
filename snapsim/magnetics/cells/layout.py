"""What each shape's file offers: into how many cells, and where their corners are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from snapsim.arrays import Array, IntArray

Divisions = tuple[int, ...]
"""Numbers that choose a mesh of a layout, such as those of the cells along its directions."""


def second(divisions: Divisions) -> float:
    """Return 2, the power for cells crowded toward the surface."""
    return 2.0


def doubled(shape: Any, divisions: Divisions) -> Divisions:
    """Return twice as many cells along every direction."""
    return tuple(2 * n for n in divisions)


@dataclass(frozen=True)
class CellLayout:
    """How a shape that is its own mirror image in `mirrors` is cut into cells.

    `divisions(shape, base_cells)` chooses the numbers so that the base, the part where the mirrored
    coordinates are >= 0 (the octant x, y, z >= 0 with three mirrors), has about that many cells,
    nearly cubic ones; `octant(shape, divisions)` returns the corners (p, 3) [m] and cells (b, 8) of
    the base. `halved(shape, divisions)` are those of cells half as long; `order(divisions)` is the
    power of the cell size with which the error falls then, measured. `share` of the cells that a
    detail level stands for are used: a shape with fewer mirrors has larger dense blocks.
    """

    divisions: Callable[[Any, float], Divisions]
    octant: Callable[[Any, Divisions], tuple[Array, IntArray]]
    mirrors: tuple[int, ...] = (0, 1, 2)
    halved: Callable[[Any, Divisions], Divisions] = doubled
    order: Callable[[Divisions], float] = second
    share: float = 1.0

    def count(self, shape: Any, divisions: Divisions) -> int:
        """Return how many cells the base has."""
        return len(self.octant(shape, divisions)[1])
