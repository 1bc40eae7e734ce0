"""What the tensile stress of a blow says of a brittle magnet (`edge_stress` computes the band)."""

from __future__ import annotations

from enum import StrEnum
from math import isnan


class Chipping(StrEnum):
    """What the band of a blow says of the magnet; never that it holds."""

    LIKELY = "likely"
    POSSIBLE = "possible"
    NOT_SHOWN = "not_shown"
    NOT_JUDGED = "not_judged"
    """Its strength is not known."""


def chipping(stress: tuple[float, float], strength: float) -> Chipping:
    """Return what a band of `stress` [Pa] says of a magnet of that `strength` [Pa]."""
    low, high = stress
    if isnan(strength):
        return Chipping.NOT_JUDGED
    if low >= strength:
        return Chipping.LIKELY
    return Chipping.POSSIBLE if high >= strength else Chipping.NOT_SHOWN
