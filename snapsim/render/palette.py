"""Colours and surface looks: chosen here, safe for colour-blind viewers, and checked by contrast.

A dark green room, an oak table, a magnet in two tones of nickel; the iron is the only thing that
glows, and only by what it holds (`ember`). Poles: north is bright nickel, south black nickel with
fine pale stripes, so lightness, pattern and letter each tell them apart. Cords are sisal, the trail
brass, field lines ice, forces mint. Contrast is the WCAG 2.2 ratio
(W3C Recommendation, 5 October 2023, definitions "relative luminance" and "contrast ratio"; success
criteria 1.4.3 text 4.5:1 and 1.4.11 graphics 3:1; from memory): (L1 + 0.05) / (L2 + 0.05) of the
relative luminances, L1 the larger.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from snapsim.parts.materials import Material

NORTH: Final = "#ECE7DB"
SOUTH: Final = "#201F25"
SOUTH_HATCH: Final = "#7A7684"
NORTH_LETTER: Final = "#17191A"
SOUTH_LETTER: Final = "#D8D2C6"

BACKDROP_LOW: Final = "#070B0B"
ROOM: Final = "#0E1716"
BACKDROP_HIGH: Final = "#33433F"
FLOOR: Final = "#1B2624"
GRID: Final = "#F6F1E7"
EDGE_DARK: Final = "#070B0B"
OUTLINE: Final = "#F6F1E7"
TRAIL: Final = "#E3C58A"
GHOST: Final = "#A9B2AC"
STRING: Final = "#CDBFA4"
JOINT: Final = "#8FB6C4"
HANDLE: Final = "#E4DED3"
HANDLE_DARK: Final = "#55504A"

PANEL: Final = "#0E1716"
PANEL_EDGE: Final = "#33433F"
INK: Final = "#F6F1E7"
INK_SOFT: Final = "#A9B2AC"
ACCENT: Final = "#E3C58A"
ACCENT_INK: Final = "#17120A"
ALARM: Final = "#B3261E"
ALARM_LETTER: Final = "#FFFFFF"

VELOCITY: Final = "#E3C58A"
FORCE: Final = "#4FE3B0"
TORQUE: Final = "#D9B8EC"
GAP_LINE: Final = "#F6F1E7"
HAND_OPEN: Final = "#9BD4EE"
HAND_CLOSED: Final = "#FF8F6B"
BAR_FIELD: Final = "#9BD4EE"
BAR_MOTION: Final = "#E3C58A"
BAR_LIFTED: Final = "#A9B2AC"
BAR_LOST: Final = "#FF8F6B"
SNAPS: Final = "#FF9CAE"
"""What snaps, in fans of runs and on dark plots."""
SPARED: Final = "#7FD8C4"
"""What does not."""
CURVE_FAINT: Final = "#74857F"
FIELD_NEAR: Final = "#CFF0FF"
FIELD_FAR: Final = "#4D97BA"
FIELD_LINE: Final = "#9BD4EE"
FIELD_BARE: Final = "#A9B2AC"

HAND_PULL: Final = "#E6A0D8"
STRAY_REACH: Final = "#D0648A"
DRAWN: Final = {
    "force": FORCE,
    "torque": TORQUE,
    "weight": GHOST,
    "hand": HAND_PULL,
    "handplace": HAND_PULL,
    "reach": STRAY_REACH,
    "trail": TRAIL,
    "other": SPARED,
    "start": GHOST,
    "lines": FIELD_LINE,
}
"""What the page draws over the bodies, by its names there: the colours of films."""

ARROW: Final = "#F6F1E7"
ARROW_RIM: Final = "#17191A"


@dataclass(frozen=True)
class MaterialLook:
    """How a material is drawn: `colour`; `metallic` 0 or 1 and `roughness` 0..1 of a physically
    based surface; `opacity` 0..1; `finish`, the fine pattern on it: a name of `FINISHES`."""

    colour: str
    metallic: float
    roughness: float
    opacity: float = 1.0
    finish: str = "even"

    @property
    def gloss(self) -> float:
        """Strength 0..1 of the highlight where surfaces are drawn more simply, as on the page."""
        return 0.6 * (1 - self.roughness)

    @property
    def sharpness(self) -> float:
        """Sharpness of that highlight, an exponent."""
        return 4 + 60 * (1 - self.roughness) ** 2


FINISHES: Final = ("even", "cast", "ground", "wood", "striped", "wound")

# First word found in the material's name or family wins, so the special stands before the general.
_LOOKS: Final[tuple[tuple[str, MaterialLook], ...]] = (
    ("stainless", MaterialLook("#B9BFC3", 1, 0.24, finish="ground")),
    ("cast iron", MaterialLook("#8D8F90", 1, 0.40, finish="cast")),
    ("ductile", MaterialLook("#93979A", 1, 0.38, finish="cast")),
    ("bearing", MaterialLook("#C9CCD0", 1, 0.16)),
    ("steel", MaterialLook("#ABB0B4", 1, 0.28, finish="ground")),
    ("iron", MaterialLook("#96999B", 1, 0.34, finish="cast")),
    ("ferrite", MaterialLook("#3E3D40", 0, 0.55)),
    ("plywood", MaterialLook("#B08A5C", 0, 0.75, finish="wood")),
    ("oak", MaterialLook("#8F6137", 0, 0.75, finish="wood")),
    ("wood", MaterialLook("#9A6D42", 0, 0.75, finish="wood")),
    ("acrylic", MaterialLook("#9FE8D2", 0, 0.08, 0.10)),
    ("glass", MaterialLook("#CDE9EE", 0, 0.05, 0.12)),
    ("aluminium", MaterialLook("#D0D4D7", 1, 0.30, finish="ground")),
    ("winding", MaterialLook("#A8512B", 1, 0.34, finish="wound")),
    ("copper", MaterialLook("#C66C46", 1, 0.24, finish="ground")),
    ("brass", MaterialLook("#C9A650", 1, 0.28, finish="ground")),
    ("concrete", MaterialLook("#83847F", 0, 0.95, finish="cast")),
)
_SOFT: Final = MaterialLook("#96999B", 1, 0.34, finish="cast")
_OTHER: Final = MaterialLook("#8F8A80", 0, 0.7)
MAGNET: Final = MaterialLook(NORTH, 1, 0.17)
"""Nickel, bright on the north half."""
MAGNET_SOUTH: Final = MaterialLook(SOUTH, 1, 0.30, finish="striped")
"""Black nickel, with fine pale stripes."""


def look_of(material: Material) -> MaterialLook:
    """Return how `material` is drawn; unknown ones get a plain look by their kind."""
    text = f"{material.name} {material.family}".lower()
    for word, look in _LOOKS:
        if word in text:
            return look
    return _SOFT if material.is_soft else _OTHER


def rgb(colour: str) -> tuple[int, int, int]:
    """Return 8-bit sRGB of a "#RRGGBB" string."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def dimmed(colour: str, share: float) -> str:
    """Return the colour with its 8-bit values times `share` (0..1)."""
    return "#" + "".join(f"{round(share * value):02X}" for value in rgb(colour))


def relative_luminance(colour: str) -> float:
    """Return the WCAG 2.2 relative luminance, 0 (black) to 1 (white)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (value / 255 for value in rgb(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast_ratio(a: str, b: str) -> float:
    """Return the WCAG 2.2 contrast ratio, 1 to 21."""
    low, high = sorted((relative_luminance(a), relative_luminance(b)))
    return (high + 0.05) / (low + 0.05)
