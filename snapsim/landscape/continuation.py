"""How the point of no return moves with one key of a scene: what was found at each value."""

from __future__ import annotations

from dataclasses import dataclass

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

    `shown` is which of a value's numbers a plot shows; `title` the scene's, `body` the part's name.
    """

    title: str
    body: str
    key: str
    unit: str
    shown: int
    rows: tuple[Row, ...]
