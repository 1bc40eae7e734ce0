"""How the point of no return moves with one key of a scene: what was found at each value."""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.arrays import Array
from snapsim.landscape.thresholds import Threshold


@dataclass(frozen=True)
class Row:
    """The margins at one value: `numbers` of the key in its unit, `fate` of the present pose
    ("snaps", "stays", ..., "touches", or "none" with `problem` where the scene cannot be),
    `upright` the angle [rad] of the body's axis from the vertical there, and the thresholds."""

    numbers: tuple[float, ...]
    fate: str
    problem: str
    upright: float
    thresholds: tuple[Threshold, ...]


@dataclass(frozen=True)
class Continuation:
    """Rows in the order of the range of `key`, its numbers in `unit` ("" for a plain number).

    `shown` is which of a value's numbers a plot shows; `title` the scene's, `body` the part's name,
    `bodies` all names. `stands_at` (3,) [m]: the point on which the part was set down at the
    first value (and at every other that turns it), None where it was not set down.
    """

    title: str
    body: str
    key: str
    unit: str
    shown: int
    rows: tuple[Row, ...]
    bodies: tuple[str, ...]
    stands_at: Array | None = None
