"""What became of a part, in words."""

from __future__ import annotations

from typing import Final

from snapsim.landscape.fate_map import DOES_NOT_SNAP
from snapsim.simulation.fate import Fate, FateKind
from snapsim.words.endings import ending_words

FATES: Final[dict[str, str]] = {
    FateKind.SNAPS: "snaps to a magnet",
    FateKind.STAYS: "stays where it is",
    FateKind.FALLS_BACK: "falls back",
    FateKind.GOES_AWAY: "falls out of the scene",
    FateKind.UNDECIDED: "still moving at the end",
    FateKind.TOUCHES: "at a magnet from the start",
    FateKind.NO_ROOM: "no room: bodies overlap",
    FateKind.FAILED: "could not be computed",
    DOES_NOT_SNAP: "stays or falls back",
}
"""Each kind of fate, and each group of them on a map."""


def fate_reason(fate: Fate) -> str:
    """Return why the release of a fate ended or why there was none; "" where none was needed."""
    if fate.overlap is not None:
        return f"{fate.overlap[0]} and {fate.overlap[1]} overlap"
    return fate.fault if fate.ending is None else ending_words(fate.ending)
