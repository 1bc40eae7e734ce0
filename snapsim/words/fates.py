"""What became of a part, in words."""

from __future__ import annotations

from math import isinf
from typing import Final

from snapsim.landscape.fate_map import DOES_NOT_SNAP, FateMap, area, patches
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


SNAPPED: Final = frozenset({FateKind.SNAPS.value, FateKind.TOUCHES.value})
"""Groups of fates that end at a magnet."""

DOUBTFUL: Final = frozenset({FateKind.UNDECIDED.value, FateKind.FAILED.value})
"""Groups of fates of which it is not known whether they do."""


def fate_reason(fate: Fate) -> str:
    """Return why the release of a fate ended or why there was none; "" where none was needed."""
    if fate.overlap is not None:
        return f"{fate.overlap[0]} and {fate.overlap[1]} overlap"
    return fate.fault if fate.ending is None else ending_words(fate.ending)


def fate_answer(found: FateMap) -> str:
    """Return the first line of `fate`: how much of the slice snaps and what is not known of it."""
    whole = abs((found.first.high - found.first.low) * (found.second.high - found.second.low))
    share = {True: 0.0, False: 0.0}
    doubtful = 0.0
    for piece in patches(found):
        if piece.group in DOUBTFUL:
            doubtful += area(piece.outline)
        else:
            share[piece.group in SNAPPED] += area(piece.outline)
    said = f"{found.body} snaps in {_share(share[True], whole)} of the slice"
    if doubtful:
        said += f", in {_share(doubtful, whole)} it was not found what becomes of it"
    said += f"; {_boundary(found)}"
    return f"{said[:1].upper()}{said[1:]}."


def _boundary(found: FateMap) -> str:
    """Where a snap begins, as far as that is known."""
    if not found.boundaries and found.whole:
        return "no boundary was met on the first grid"
    if not found.whole:
        return (
            f"NOT refined, the limit on releases was reached: in {len(found.unrefined)} cells a"
            " snap may begin anywhere"
        )
    step = f"{found.first.step:.3g} {found.first.unit}"
    said = f'its boundary is bracketed to {step} with "{found.detail}" cells'
    shift = found.unsafe_shift
    if shift is None:
        return f"{said}, and was not looked for with finer ones: forces may be too small there"
    if isinf(shift):
        return f"{said}; at some spots it was not found again with finer ones"
    return f"{said} and lies up to {shift:.2g} {found.first.unit} elsewhere with finer ones"


def _share(part: float, whole: float) -> str:
    """A share in per cent that is 0 or 100 only where it is."""
    per_cent = 100 * part / whole
    return (
        f"{min(max(per_cent, 1.0), 99.0):.0f} %"
        if 0 < part < whole * (1 - 1e-9)
        else (f"{per_cent:.0f} %")
    )
