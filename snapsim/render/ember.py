"""The colours of magnetisation: from a dull violet by crimson and orange to straw, ever lighter.

The map is a course in Oklch, the polar form of Oklab (B. Ottosson, "A perceptual color space for
image processing", 23 December 2020, bottomosson.github.io/posts/oklab; matrices from memory), whose
lightness L rises evenly with the value while hue and chroma swing as hot iron's do; so a value
reads from lightness alone, with any colour vision. sRGB's transfer curve is IEC 61966-2-1 (from
memory). Values are |J| over the material's own saturation, 0 to 1; below `FROM` iron looks bare.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array

FROM, FULL = 0.04, 0.26
"""Values between which the colours gain on bare iron: nothing below, all above."""

STOPS: Final = np.array(
    # value, L, C, hue [deg]
    [
        [0.00, 0.30, 0.05, 285.0],
        [0.12, 0.37, 0.14, 298.0],
        [0.30, 0.49, 0.165, 345.0],
        [0.50, 0.62, 0.18, 390.0],
        [0.70, 0.75, 0.18, 422.0],
        [0.85, 0.85, 0.165, 447.0],
        [1.00, 0.95, 0.09, 465.0],
    ]
)
STEPS: Final = 256


def from_oklch(lightness: Array, chroma: Array, hue: Array) -> Array:
    """Return sRGB (n, 3), 0..1, of Oklch; `hue` in degrees; what is outside sRGB is clipped."""
    a, b = chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))
    lms = np.stack(
        [
            lightness + 0.3963377774 * a + 0.2158037573 * b,
            lightness - 0.1055613458 * a - 0.0638541728 * b,
            lightness - 0.0894841775 * a - 1.2914855480 * b,
        ],
        axis=-1,
    )
    linear = (
        lms**3
        @ np.array(
            [
                [4.0767416621, -3.3077115913, 0.2309699292],
                [-1.2684380046, 2.6097574011, -0.3413193965],
                [-0.0041960863, -0.7034186147, 1.7076147010],
            ]
        ).T
    )
    linear = np.clip(linear, 0, 1)
    encoded: Array = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
    )
    return encoded


def _table() -> Array:
    at = np.linspace(0, 1, STEPS)
    lightness, chroma, hue = (np.interp(at, STOPS[:, 0], STOPS[:, k]) for k in (1, 2, 3))
    return from_oklch(lightness, chroma, hue)


TABLE: Final = _table()
"""The map (STEPS, 3), sRGB 0..1."""


def colours(share: Array) -> Array:
    """Return sRGB (n, 3), 0..1, of values (n,); outside 0..1 as the ends."""
    found: Array = TABLE[np.rint(np.clip(share, 0, 1) * (STEPS - 1)).astype(np.int64)]
    return found


def cover(share: Array) -> Array:
    """Return how far the colours hide bare iron (n,), 0..1, eased."""
    u = np.clip((share - FROM) / (FULL - FROM), 0, 1)
    eased: Array = u * u * (3 - 2 * u)
    return eased


def as_bytes(count: int) -> list[tuple[int, int, int]]:
    """Return the map in `count` even steps, 8 bits a colour."""
    steps = np.rint(255 * colours(np.linspace(0, 1, max(count, 1)))).astype(int)
    return [(int(r), int(g), int(b)) for r, g, b in steps]
