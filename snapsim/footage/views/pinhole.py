"""A pinhole camera: u = u0 + f (X-C).r / (X-C).d, v = v0 -+ f (X-C).k / (X-C).d.

X the world point and C the pinhole [m]; r, k, d unit vectors to the right, up and ahead; f the
focal length [px]; (u0, v0) the principal point [px]. No lens distortion: take it out before.
Source: Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 6.1 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.views.contract import FootageView


@dataclass(frozen=True)
class Pinhole(FootageView):
    """`position` (3,) [m]; `axes` (3, 3): right, up and ahead as rows; `focal_length` [px]."""

    position: Array
    axes: Array
    focal_length: float
    centre: tuple[float, float]

    def project(self, points: Array) -> Array:
        """Return the places (..., 2) of world points (..., 3) [m]; nan behind the camera."""
        seen = (points - self.position) @ self.axes.T
        depth = np.where(seen[..., 2] > 0, seen[..., 2], np.nan)
        share = self.focal_length / depth
        return self._placed(share * seen[..., 0], share * seen[..., 1], self.centre)


def axes_toward(direction: Array, up: Array) -> Array:
    """Return right, up, ahead (3, 3) of a camera that looks along `direction`, `up` above it.

    Raises ValueError where the two are parallel.
    """
    ahead = direction / np.linalg.norm(direction)
    right = np.cross(ahead, up)
    length = float(np.linalg.norm(right))
    if length < 1e-9:
        raise ValueError('looks along its own up; give another up, like "+y"')
    right = right / length
    return np.stack([right, np.cross(right, ahead), ahead])
