"""Soft shadows on a level ground, worked out as a small picture of how dark each spot is.

Every triangle is thrown along the light's direction onto the ground and filled; the picture is then
blurred the more, the higher the body stands: the half shadow of a wide lamp grows with the height.
"""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from snapsim.arrays import Array, IntArray

LAMP = 0.22  # width of the lamp over its distance
DARKNESS = 0.62


def throw(corners: Array, level: float, slope: Array) -> Array:
    """Return where world points (n, 3) fall on the ground z = `level`: (n, 2) [m].

    `slope` (2,) is how far the light travels sideways for each metre down.
    """
    fallen: Array = corners[:, :2] + (corners[:, 2:] - level) * slope
    return fallen


class Ground:
    """A level square patch: `centre` (2,) [m], half size `half` [m], `pixels` along a side;
    light falls on it with the `slope` (2,) of `throw`."""

    def __init__(self, centre: Array, half: float, level: float, pixels: int, slope: Array) -> None:
        self.centre, self.half, self.level, self.pixels = centre, half, level, pixels
        self.slope = slope

    def darkness(self, corners: Array, triangles: IntArray) -> Array:
        """Return (pixels, pixels) of 0..1, row 0 at the patch's least y, for one body in place."""
        picture = Image.new("L", (self.pixels, self.pixels), 0)
        height = float(corners[:, 2].mean()) - self.level
        if height > 0:
            scale = self.pixels / (2 * self.half)
            fallen = (throw(corners, self.level, self.slope) - self.centre + self.half) * scale
            pen = ImageDraw.Draw(picture)
            for triangle in fallen[triangles].reshape(-1, 6).tolist():
                pen.polygon(triangle, fill=255)
            picture = picture.filter(ImageFilter.GaussianBlur(1 + 0.5 * LAMP * height * scale))
        return np.asarray(picture, dtype=np.float64) / 255
