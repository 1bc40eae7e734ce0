"""How often a clip flashes, counted as for photosensitive viewers.

A flash is a pair of opposing changes of relative luminance by 0.1 or more where the darker picture
is below 0.8; the limit is three within any second, unless they cover less than a quarter of any 10
degrees of the visual field, 21 824 of 1024 x 768 pixels (WCAG 2.2, W3C Recommendation 5 October
2023, definition "general flash and red flash thresholds", success criterion 2.3.1; from memory).
Counted on a coarse grid of patches, `AREA` of whose number must flash together.
"""

from __future__ import annotations

import math

import numpy as np
from PIL import Image

from snapsim.arrays import Array, IntArray
from snapsim.render.rates import Rate

PATCHES = (32, 18)
CHANGE, DARK, AREA = 0.1, 0.8, 21_824 / (1024 * 768)
LIMIT = 3

_LINEAR = np.array(
    [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in np.arange(256) / 255]
)


def luminance(frame: Image.Image) -> Array:
    """Return relative luminance (18, 32) of patches of a picture, 0 to 1."""
    coarse = frame.reduce((max(1, frame.width // PATCHES[0]), max(1, frame.height // PATCHES[1])))
    small = np.asarray(coarse.convert("RGB").resize(PATCHES, Image.Resampling.BOX))
    weighted: Array = _LINEAR[small] @ np.array([0.2126, 0.7152, 0.0722])
    return weighted


def most_flashes(pictures: Array, fps: Rate) -> int:
    """Return the largest number of flashes within one second of (k, 18, 32) luminances."""
    marks = _turns(pictures.reshape(len(pictures), -1))
    total = np.vstack([np.zeros_like(marks[:1]), np.cumsum(marks, axis=0)])
    window = min(math.ceil(fps), len(marks))
    within = (total[window:] - total[:-window]).astype(int) // 2
    if not within.size:
        return 0
    patches = max(1, int(np.ceil(AREA * marks.shape[1])))
    return int(np.sort(within, axis=1)[:, -patches].max())


def _turns(light: Array) -> IntArray:
    """Mark (k, n) where a patch has changed by CHANGE since its last extreme, each way in turn."""
    low, high = light[0].copy(), light[0].copy()
    way = np.zeros(light.shape[1])
    marks = np.zeros(light.shape, dtype=np.int64)
    for k, now in enumerate(light):
        low, high = np.minimum(low, now), np.maximum(high, now)
        up = (now - low >= CHANGE) & (low < DARK) & (way <= 0)
        down = (high - now >= CHANGE) & (now < DARK) & (way >= 0)
        for turned, sign in ((up, 1), (down, -1)):
            marks[k, turned] = 1
            way[turned] = sign
            low[turned], high[turned] = now[turned], now[turned]
    return marks
