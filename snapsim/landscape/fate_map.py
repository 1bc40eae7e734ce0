"""What becomes of a part over a two-parameter slice of release poses: the data of the map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.simulation.fate import Fate, FateKind

DOES_NOT_SNAP: Final = "does not snap"
"""The group of fates that no boundary is drawn between: how far a part may settle and still "stay"
is a convention. Every other fate is a group of its own."""

GROUPS: Final[Mapping[FateKind, str]] = {
    FateKind.STAYS: DOES_NOT_SNAP,
    FateKind.FALLS_BACK: DOES_NOT_SNAP,
}


def group(kind: FateKind) -> str:
    """Return the group of a fate."""
    return GROUPS.get(kind, kind.value)


@dataclass(frozen=True)
class Axis:
    """One parameter: the scene's `key`, `unit` as its author wrote it, and the ends; `step` is the
    width of the finest cells; keys `along` go from end to end with it."""

    key: str
    unit: str
    low: float
    high: float
    step: float
    along: tuple[str, ...] = ()


@dataclass(frozen=True)
class Boundary:
    """A line (k, 2) between two groups of fates, in the axes' units; true to half a step."""

    between: tuple[str, str]
    line: Array


@dataclass(frozen=True)
class BoundarySpot:
    """A place of the boundary found again with other cells: `second`, the boundary's place along
    the first axis in the map (`drawn`) and with `detail` (`found`, None where it is not within
    reach)."""

    second: float
    drawn: float
    found: float | None
    detail: str


@dataclass(frozen=True)
class FateMap:
    """Fates of n releases at `point` (n, 2) in the axes' units; `cells` (m, 4) numbers of the
    corners of the rectangles that fill the slice, counter-clockwise from the lower left.

    `whole`: every boundary is refined to the finest step; False where the limit on releases ended
    that, and then `unrefined` (u,) are the numbers of the cells through which a boundary passes
    somewhere. `body` by name; `detail` of the cells.
    """

    title: str
    body: str
    detail: str
    first: Axis
    second: Axis
    point: Array
    fates: tuple[Fate, ...]
    cells: IntArray
    boundaries: tuple[Boundary, ...]
    spots: tuple[BoundarySpot, ...]
    whole: bool
    wall: float = 0.0
    computed: int = 0
    unrefined: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    @property
    def unsafe_shift(self) -> float | None:
        """How far along the first axis the boundary lay elsewhere with finer cells, at most, of the
        spots looked at; infinite where it was not found again, None without spots."""
        if not self.spots:
            return None
        away = (np.inf if s.found is None else abs(s.found - s.drawn) for s in self.spots)
        return float(max(away))


@dataclass(frozen=True)
class Patch:
    """A piece of a cell painted by what was computed at the nearest corners: `group` of their
    fate, `outline` (k, 2) in the axes' units, numbers of these `points`."""

    group: str
    outline: Array
    points: tuple[int, ...]


def patches(found: FateMap) -> list[Patch]:
    """Return the pieces that fill the slice; their rims are where boundaries are drawn.

    A cell whose corners are of one group is one piece. Another is cut from the middles of the edges
    between unlike corners, straight across for two of them, else to its centre.
    """
    groups = [group(f.kind) for f in found.fates]
    return [p for cell in found.cells.tolist() for p in _pieces(cell, groups, found.point)]


def _pieces(cell: Sequence[int], groups: Sequence[str], point: Array) -> list[Patch]:
    corner, mine = point[list(cell)], [groups[n] for n in cell]
    cuts = [k for k in range(4) if mine[k] != mine[(k + 1) % 4]]
    if not cuts:
        return [Patch(mine[0], corner, tuple(cell))]
    middle = [0.5 * (corner[k] + corner[(k + 1) % 4]) for k in range(4)]
    centre = [] if len(cuts) == 2 else [corner.mean(axis=0)]
    pieces = []
    for a, b in zip(cuts, [*cuts[1:], cuts[0] + 4], strict=True):
        run = [k % 4 for k in range(a + 1, b + 1)]
        outline = np.array([middle[a], *(corner[k] for k in run), middle[b % 4], *centre])
        pieces.append(Patch(mine[run[0]], outline, tuple(cell[k] for k in run)))
    return pieces


def area(outline: Array) -> float:
    """Return the area of an outline (k, 2), in the axes' units."""
    x, y = outline.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
