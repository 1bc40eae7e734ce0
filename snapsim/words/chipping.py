"""What a blow may do to a magnet, in words that promise nothing."""

from __future__ import annotations

from typing import Final

from snapsim.mechanics.chipping import Chipping

CHIPPING: Final[dict[Chipping, str]] = {
    Chipping.LIKELY: "likely to chip",
    Chipping.POSSIBLE: "may chip",
    Chipping.NOT_SHOWN: "not shown to chip; flaws and edges may do it all the same",
    Chipping.NOT_JUDGED: "not judged: the magnet's strength is not known",
}
