"""What a blow may do to a magnet, in words that promise nothing."""

from __future__ import annotations

from typing import Final

from snapsim.mechanics.chipping import Chances, Chipping, chipping

CHIPPING: Final[dict[Chipping, str]] = {
    Chipping.LIKELY: "likely to chip",
    Chipping.POSSIBLE: "may chip",
    Chipping.NOT_SHOWN: "not shown to chip; flaws and edges may do it all the same",
    Chipping.NOT_JUDGED: "not judged: the magnet's strength or stiffness is not known",
}


def chance_words(chances: Chances) -> str:
    """Return the chance and its bracket, and what follows from its upper end."""
    judged = CHIPPING[chipping(chances)]
    if chipping(chances) == Chipping.NOT_JUDGED:
        return judged
    low, middle, high = (percent(p) for p in chances)
    return f"{judged}: chance {middle}, {low} to {high} over assumed constants"


def percent(chance: float) -> str:
    """Return a chance in per cent; none is ever 0 or 100."""
    if chance < 1e-4:
        return "below 0.01 %"
    return "above 99 %" if chance > 0.99 else f"{100.0 * chance:.2g} %"
