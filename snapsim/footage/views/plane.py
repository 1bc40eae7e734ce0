"""A view plane: u = u0 + s X.r, v = v0 -+ s X.k, with X the world point [m], r and k unit vectors
to the right and up, s the scale [px/m] and (u0, v0) the place of the world's origin [px].

Right for a camera far away, square to a motion in one plane (orthographic projection). The nearest
part of a motion at distance D that leaves its plane by d is drawn too small by d/D.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.views.contract import FootageView


@dataclass(frozen=True)
class PlaneView(FootageView):
    """`right` and `up` (3,) are unit vectors square to each other."""

    right: Array
    up: Array
    scale: float
    origin: tuple[float, float]

    def project(self, points: Array) -> Array:
        """Return the places (..., 2) of world points (..., 3) [m]."""
        s = self.scale
        return self._placed(
            s * np.asarray(points @ self.right), s * np.asarray(points @ self.up), self.origin
        )
