"""Colours and surface looks: chosen here, safe for colour-blind viewers, and checked by contrast.

Poles: north is plain cream, south is dark plum with a pale diagonal hatch, so lightness, pattern
and letter each tell them apart. Strings, pins and rails are sky blue, the trail amber: a pair that
all common colour blindnesses keep apart; hands are pale handles. Contrast is the WCAG 2.2 ratio
(W3C Recommendation, 5 October 2023, definitions "relative luminance" and "contrast ratio"; success
criteria 1.4.3 text 4.5:1 and 1.4.11 graphics 3:1; from memory): (L1 + 0.05) / (L2 + 0.05) of the
relative luminances, L1 the larger.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from snapsim.parts.materials import Material

NORTH: Final = "#F6E7BE"
SOUTH: Final = "#35204F"
SOUTH_HATCH: Final = "#8C79B4"
NORTH_LETTER: Final = "#2A1B40"
SOUTH_LETTER: Final = "#FBF3DC"

BACKDROP_LOW: Final = "#0A0E13"
BACKDROP_HIGH: Final = "#3A4D5A"
FLOOR: Final = "#2A343D"
GRID: Final = "#F2F6F5"
EDGE_DARK: Final = "#10151A"
OUTLINE: Final = "#F2F6F5"
TRAIL: Final = "#FFB454"
GHOST: Final = "#9FB4BF"
STRING: Final = "#8CD3F2"
JOINT: Final = "#5FB0DA"
HANDLE: Final = "#E4DED3"
HANDLE_DARK: Final = "#55504A"

PANEL: Final = "#18222B"
PANEL_EDGE: Final = "#31414D"
INK: Final = "#F4F7F6"
INK_SOFT: Final = "#B9C7CC"
ACCENT: Final = "#FFB454"
ACCENT_INK: Final = "#1B1204"
ALARM: Final = "#B3261E"
ALARM_LETTER: Final = "#FFFFFF"

VELOCITY: Final = "#FFB454"
FORCE: Final = "#7FE0C3"
TORQUE: Final = "#E3B5F2"
GAP_LINE: Final = "#F4F7F6"
HAND_OPEN: Final = "#8CD3F2"
HAND_CLOSED: Final = "#FF8F6B"
BAR_FIELD: Final = "#8CD3F2"
BAR_MOTION: Final = "#FFB454"
BAR_LIFTED: Final = "#B9C7CC"
BAR_LOST: Final = "#FF8F6B"
CURVE_FAINT: Final = "#6B7C86"
FIELD_LINE: Final = "#9FC7E8"
COMPANION: Final = "#9FB4BF"

ARROW_RIM: Final = "#F2F6F5"
ARROW_MAP: Final = "cividis"
"""Perceptual, readable with every common colour blindness (matplotlib's own table)."""


@dataclass(frozen=True)
class MaterialLook:
    """How a material is drawn: `colour`, gloss 0..1, its sharpness, and opacity 0..1."""

    colour: str
    gloss: float
    sharpness: float
    opacity: float = 1.0


# First word found in the material's name or family wins, so the special stands before the general.
_LOOKS: Final[tuple[tuple[str, MaterialLook], ...]] = (
    ("stainless", MaterialLook("#AEB8BF", 0.55, 40)),
    ("cast iron", MaterialLook("#7F868B", 0.22, 12)),
    ("ductile", MaterialLook("#858C92", 0.25, 14)),
    ("steel", MaterialLook("#98A3AC", 0.45, 30)),
    ("iron", MaterialLook("#858C92", 0.30, 16)),
    ("ferrite", MaterialLook("#4B4A4C", 0.15, 8)),
    ("plywood", MaterialLook("#C2A06E", 0.05, 5)),
    ("oak", MaterialLook("#9A6F43", 0.08, 6)),
    ("wood", MaterialLook("#A67C4F", 0.08, 6)),
    ("acrylic", MaterialLook("#BFE6EA", 0.60, 60, 0.26)),
    ("glass", MaterialLook("#CDE9EE", 0.70, 70, 0.22)),
    ("aluminium", MaterialLook("#C9D0D4", 0.45, 25)),
    ("copper", MaterialLook("#B9704A", 0.45, 25)),
    ("brass", MaterialLook("#C2A14D", 0.45, 25)),
    ("concrete", MaterialLook("#8B8C88", 0.02, 4)),
)
_SOFT: Final = MaterialLook("#8C949A", 0.30, 16)
_OTHER: Final = MaterialLook("#8F8A80", 0.10, 8)
MAGNET: Final = MaterialLook(NORTH, 0.08, 10)


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
