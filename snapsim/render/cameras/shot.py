"""A shot: which camera, from where, how near; and keyframes for a camera of one's own. Data only.

Angles in degrees; `zoom` 1 fits what must be seen, 2 shows half of it across. Keyframes give a
direction and a zoom at clip times; between them the camera eases.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

KINDS: Final = {
    "near": "holds the moving part and what it flies to, as near as they allow at each moment",
    "fixed": "stands where nothing is hidden and all that moves is in view",
    "orbit": "the same, turning about the scene",
    "follow": "goes along with the leading part",
    "close-up": "the same, nearer: only a rim of what it flies to",
    "keyframes": "moves between given directions",
}


@dataclass(frozen=True)
class Key:
    """At clip time `at` [s]: seen from `azimuth` (from +x) and `elevation` [deg], at `zoom`."""

    at: float
    azimuth: float
    elevation: float
    zoom: float = 1.0


@dataclass(frozen=True)
class Shot:
    """`kind` of `KINDS`; `view` (azimuth, elevation) [deg], None where nothing is hidden; `turn`
    [deg] is how far an orbit goes over the clip; `zoom`, and `keys` of a camera of keyframes."""

    kind: str = "near"
    view: tuple[float, float] | None = None
    zoom: float = 1.0
    turn: float = 60.0
    keys: tuple[Key, ...] = ()

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield (key, what is wrong and what is allowed)."""
        if self.kind not in KINDS:
            yield "camera", f'"{self.kind}" is no camera; cameras are {", ".join(KINDS)}'
        if self.view is not None and not _is_direction(*self.view):
            yield (
                "view",
                f"is {self.view}; must be an azimuth and an elevation of -80 to 80 degrees",
            )
        if not 0.2 <= self.zoom <= 1.0:
            yield (
                "zoom",
                f"is {self.zoom:g}; must be 0.2 to 1, as 1 is the nearest that loses nothing",
            )
        if not (math.isfinite(self.turn) and abs(self.turn) <= 720):
            yield "turn", f"is {self.turn:g}; must be -720 to 720 degrees"
        yield from _key_problems(self.keys, self.kind == "keyframes")


def _key_problems(keys: tuple[Key, ...], needed: bool) -> Iterator[tuple[str, str]]:
    if needed and len(keys) < 2:
        yield "key", f"there are {len(keys)} keyframes; a camera of keyframes needs two or more"
    for n, key in enumerate(keys, 1):
        if not (math.isfinite(key.at) and key.at >= 0):
            yield f"key {n}.at", f"is {key.at:g}; must be a clip time of 0 s or more"
        if not _is_direction(key.azimuth, key.elevation):
            said = f"is seen from {key.azimuth:g}, {key.elevation:g}"
            yield f"key {n}", f"{said}; must be an azimuth and an elevation of -80 to 80 degrees"
        if not 0.2 <= key.zoom <= 1.0:
            yield f"key {n}.zoom", f"is {key.zoom:g}; must be 0.2 to 1"
    for n, (a, b) in enumerate(pairwise(keys), 2):
        if b.at - a.at < 0.2:
            yield f"key {n}.at", f"is {b.at:g} s; must be 0.2 s or more after the one before"


def _is_direction(azimuth: float, elevation: float) -> bool:
    return math.isfinite(azimuth) and abs(azimuth) <= 3600 and -80 <= elevation <= 80
