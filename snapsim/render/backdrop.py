"""The backdrop: a dark room with a pool of light behind the subject, free of bands.

A slow gradient in 8 bits shows its steps. It is therefore worked out in fractions of a step and
rounded up or down by chance (noise of triangular density, two steps wide: the roundings' error is
then free of the picture's pattern in mean and variance; Lipshitz, Wannamaker and Vanderkooy, J.
Audio Eng. Soc. 40, 1992, 355; from memory). The noise is the same in every frame.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import Image

from snapsim.arrays import Array
from snapsim.render import palette

POOL = 0.62  # radius of the pool of light, in the picture's longer side


@lru_cache(maxsize=4)
def backdrop(size: tuple[int, int], middle: tuple[float, float] = (0.5, 0.46)) -> Image.Image:
    """Return the backdrop of a picture (width, height) [pixels]; its light is brightest at
    `middle`, shares of the width and height."""
    dithered = dither(gradient(size, middle), seed=3)
    return Image.fromarray(dithered, "RGB")


def gradient(size: tuple[int, int], middle: tuple[float, float]) -> Array:
    """Return the backdrop (height, width, 3) in fractions of 8-bit steps."""
    w, h = size
    y, x = np.mgrid[0 : 1 : h * 1j, 0 : 1 : w * 1j].astype(np.float32)
    long = max(w, h)
    away = np.hypot((x - middle[0]) * w / long, 1.15 * (y - middle[1]) * h / long) * 1.6
    edge, room, pool = (
        np.array(palette.rgb(c), np.float32)
        for c in (palette.BACKDROP_LOW, palette.ROOM, palette.BACKDROP_HIGH)
    )
    base = (0.25 * edge + 0.75 * room) * (1 - 0.5 * np.clip(away - 0.4, 0, 1))[..., None]
    lit: Array = base + np.exp(-((away / POOL) ** 2))[..., None] * (pool - room)
    return lit


def dither(picture: Array, seed: int) -> Array:
    """Return a picture (h, w, 3) in fractions of a step as 8 bits, rounded by chance."""
    chance = np.random.default_rng(seed)
    shape = picture.shape[:2]
    noise = chance.random(shape, np.float32) + chance.random(shape, np.float32) - 0.5
    found: Array = np.clip(picture + noise[..., None], 0, 255).astype(np.uint8)
    return found
