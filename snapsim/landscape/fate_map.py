"""What becomes of a part over a two-parameter slice of release poses: the data of the map."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

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
    width of the finest cells."""

    key: str
    unit: str
    low: float
    high: float
    step: float


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
    that. `body` by name; `detail` of the cells.
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
