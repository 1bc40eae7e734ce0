"""Soft shadows on a level ground, worked out as a small picture of how dark each spot is.

Every triangle is thrown along the light's direction onto the ground and filled, those of a band of
heights together; a band is blurred the more, the higher it lies: the half shadow of a wide lamp
grows with the height. What touches the ground so keeps a dark, sharp foot under a soft shadow.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from snapsim.arrays import Array, IntArray

LAMP = 0.30  # width of the lamp over its distance
DARKNESS = 0.86
BANDS = (0.0, 0.004, 0.02, 0.06, np.inf)  # m above the ground
DEEP, FAR = 0.10, 0.15  # m over which a shadow gets fainter, and what is left of it far up


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
        scale = self.pixels / (2 * self.half)
        fallen = (throw(corners, self.level, self.slope) - self.centre + self.half) * scale
        height = (corners[:, 2] - self.level)[triangles].mean(axis=1)
        light: Array = np.ones((self.pixels, self.pixels))
        for low, high in pairwise(BANDS):
            chosen = (height > low) & (height <= high)
            if chosen.any():
                mean = float(height[chosen].mean())
                blur = 0.6 + 0.5 * LAMP * mean * scale
                dark = self._filled(fallen[triangles[chosen]], blur)
                light *= 1 - dark * ((1 - FAR) * np.exp(-mean / DEEP) + FAR)
        found: Array = 1 - light
        return found

    def _filled(self, triangles: Array, blur: float) -> Array:
        """Triangles (t, 3, 2) [pixels] filled and blurred, 0..1."""
        picture = Image.new("L", (self.pixels, self.pixels), 0)
        pen = ImageDraw.Draw(picture)
        for triangle in triangles.reshape(-1, 6).tolist():
            pen.polygon(triangle, fill=255)
        soft = picture.filter(ImageFilter.GaussianBlur(blur))
        return np.asarray(soft, dtype=np.float32) / 255
