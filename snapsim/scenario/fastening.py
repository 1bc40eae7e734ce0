"""Where a joint of a scene is fastened at the start, and whether it fits there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.mechanics.joints import Side

FIT = 1e-5
"""How far apart [m] joined points may start: rounding of what the author wrote."""


@dataclass(frozen=True, eq=False)
class Fastening:
    """What a joint's description needs to become a joint.

    `name` of the joint; numbers `ends` of its bodies, `still` whether each never moves, `sides` of
    these at the start; `points` (2, 3) [m] in their frames; `file` and `key` for complaints.
    """

    name: str
    ends: tuple[int, int]
    still: tuple[bool, bool]
    sides: tuple[Side, Side]
    points: Array
    file: str
    key: str

    @property
    def apart(self) -> Array:
        """From the second point to the first (3,) [m], world axes."""
        a, b = self.sides
        apart: Array = a.position + a.turn @ self.points[0] - b.position - b.turn @ self.points[1]
        return apart

    def refuse(self, problem: str, key: str) -> NoReturn:
        """Raise InputError about one key of the joint."""
        raise InputError(problem, file=self.file, key=f"{self.key}.{key}")

    def must_meet(self, what: str, apart: Array | None = None) -> None:
        """Refuse points that do not meet, `apart` (3,) [m] one another."""
        distance = float(np.linalg.norm(self.apart if apart is None else apart))
        if distance > FIT:
            self.refuse(
                f"gives points that start {1e3 * distance:.4g} mm apart; the two points of a {what}"
                f" must meet there (to {1e3 * FIT:g} mm)",
                "at",
            )
