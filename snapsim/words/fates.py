"""What became of a part, in words."""

from __future__ import annotations

from snapsim.simulation.fate import Fate
from snapsim.words.endings import ending_words


def fate_reason(fate: Fate) -> str:
    """Return why the release of a fate ended or why there was none; "" where none was needed."""
    if fate.overlap is not None:
        return f"{fate.overlap[0]} and {fate.overlap[1]} overlap"
    return fate.fault if fate.ending is None else ending_words(fate.ending)
