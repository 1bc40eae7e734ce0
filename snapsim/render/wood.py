"""Planks of oak or plywood, painted in code: growth rings, fibre, pores and seams.

The picture is a tile that fits itself on all sides; grain runs along its rows. One seed: the same
table in every clip.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter, zoom

from snapsim.arrays import Array, ByteArray
from snapsim.render import palette

SIDE = 1024  # pixels
TILE = 0.56  # m that the picture stands for
PLANKS = 4
DARK, PALE = (0.400, 0.255, 0.135), (0.900, 0.660, 0.400)
OAK = "#8F6137"


@lru_cache(maxsize=2)
def planks(colour: str) -> ByteArray:
    """Return the tile (SIDE, SIDE, 3) for wood of about this colour."""
    tint = np.array(palette.rgb(colour), float) / np.array(palette.rgb(OAK), float)
    shade = np.clip(_oak() * tint, 0, 1)
    chance = np.random.default_rng(1).random((SIDE, SIDE, 1))
    found: ByteArray = np.clip(255 * shade + chance - 0.5, 0, 255).astype(np.uint8)
    return found


def _oak() -> Array:
    chance = np.random.default_rng(5)
    y = np.linspace(0, 1, SIDE, endpoint=False)[:, None]
    plank = np.floor(PLANKS * y).astype(np.int64)
    shift, tone = chance.random(PLANKS)[plank], chance.normal(0, 0.03, PLANKS)[plank]
    slow, quick = (_noise(chance, width, SIDE // 4) for width in ((14, 46), (3, 60)))
    bend = zoom(0.012 * slow + 0.0035 * quick, 4, order=1, mode="grid-wrap", grid_mode=True)
    rings = (0.5 + 0.5 * np.sin(2 * np.pi * (26 * (y + shift) + 120 * bend))) ** 1.7
    fibre = _noise(chance, (0.7, 22), SIDE)
    pores = np.clip(_noise(chance, (0.75, 9), SIDE) - 1.75, 0, 1) * (0.35 + 0.65 * rings)
    light = np.clip(0.5 + 0.16 * (rings - 0.5) + 0.045 * fibre + tone, 0, 1)[..., None]
    wood = np.array(DARK) * (1 - light) + np.array(PALE) * light
    near = np.minimum((PLANKS * y) % 1, 1 - (PLANKS * y) % 1)
    seam = np.exp(-((near / 0.006) ** 2))[..., None]
    found: Array = wood * (1 - 0.42 * pores[..., None]) * (1 - 0.55 * seam)
    return found


def _noise(chance: np.random.Generator, width: tuple[float, float], side: int) -> Array:
    """Soft noise of unit spread, of `width` pixels down and across, that repeats."""
    soft = gaussian_filter(chance.normal(size=(side, side)), width, mode="wrap")
    found: Array = soft / soft.std()
    return found
