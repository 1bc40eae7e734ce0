"""What the chance of chipping (`chip_chance`) says of a brittle magnet; never that it holds."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from math import isnan, nan
from typing import Final

Chances = tuple[float, float, float]
"""Least, typical and largest chance 0..1; nan where nothing is known."""

UNKNOWN: Final[Chances] = (nan, nan, nan)


class Chipping(StrEnum):
    """What the largest chance says of the magnet; never that it holds."""

    LIKELY = "likely"
    POSSIBLE = "possible"
    NOT_SHOWN = "not_shown"
    NOT_JUDGED = "not_judged"
    """Nothing is known of its strength or stiffness."""


LINES: Final = (0.01, 0.5)
"""Largest chance from which on it may chip, and from which on it is likely to."""


def chipping(chances: Chances) -> Chipping:
    """Return what the chances say: by the largest of them."""
    if isnan(chances[2]):
        return Chipping.NOT_JUDGED
    if chances[2] >= LINES[1]:
        return Chipping.LIKELY
    return Chipping.POSSIBLE if chances[2] >= LINES[0] else Chipping.NOT_SHOWN


def together(each: Iterable[Chances]) -> Chances:
    """Return the chances that any of several blows chips: 1 - product (1 - P)."""
    left = [1.0, 1.0, 1.0]
    found = False
    for chances in each:
        if isnan(chances[2]):
            continue
        found = True
        left = [kept * (1.0 - p) for kept, p in zip(left, chances, strict=True)]
    return (1.0 - left[0], 1.0 - left[1], 1.0 - left[2]) if found else UNKNOWN
