"""The contract of a view, and what all cameras share: rows are read one after the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array


@dataclass(frozen=True)
class FootageView:
    """A camera: `size` (2,) of its picture [px], `line_time` [s] from one row of the sensor to the
    next (0: all at once), `exposure` [s] of each row, and whether y counts downward.

    A frame's time is that of its top row at the beginning of its exposure.
    """

    size: tuple[float, float]
    line_time: float
    exposure: float
    down: bool

    def project(self, points: Array) -> Array:
        """Return the places (..., 2) [px] of world points (..., 3) [m]; nan behind the camera."""
        raise NotImplementedError

    def row(self, place: Array) -> Array:
        """Return how many rows (...,) below the top of the picture places (..., 2) are."""
        along = place[..., 1]
        return along if self.down else self.size[1] - along

    def _placed(self, right: Array, up: Array, origin: tuple[float, float]) -> Array:
        sign = -1.0 if self.down else 1.0
        return np.stack([origin[0] + right, origin[1] + sign * up], axis=-1)
