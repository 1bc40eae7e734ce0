"""Members of a compound must hold together: they touch, and none is inside another.

Overlapping members would count their common volume twice, in mass and in magnetisation.
"""

from __future__ import annotations

from itertools import combinations
from typing import Final

from snapsim.errors import InputError
from snapsim.parts.shapes import Shape

DEEPEST: Final = 1e-6
"""Overlap [m] that is rounding of what the author wrote."""

WIDEST: Final = 1e-4
"""Gap [m] that glue or a weld bridges."""


def refuse_loose_members(shape: Shape, file: str, key: str) -> None:
    """Raise InputError where members overlap, or where some touch none of the others."""
    gaps = _gaps(shape)
    for (a, b), gap in gaps.items():
        if gap < -DEEPEST:
            raise InputError(
                f"members {a + 1} and {b + 1} overlap by {-1e3 * gap:.4g} mm; members may touch"
                " but not overlap",
                file=file,
                key=key,
            )
    held = {0}
    while True:
        more = {k for pair, gap in gaps.items() if gap <= WIDEST and held & set(pair) for k in pair}
        if more <= held:
            break
        held |= more
    for k in range(len(shape.members)):
        if k not in held:
            nearest = min(g for pair, g in gaps.items() if k in pair and held & set(pair))
            raise InputError(
                f"member {k + 1} is {1e3 * nearest:.4g} mm away from those that member 1 is joined"
                f" to; every member must touch another, within {1e3 * WIDEST:g} mm",
                file=file,
                key=key,
            )


def _gaps(shape: Shape) -> dict[tuple[int, int], float]:
    """Gap [m] of every two members."""
    from snapsim.mechanics.contact import gap_between

    return {
        (a, b): gap_between(shape.members[a], shape.members[b])
        for a, b in combinations(range(len(shape.members)), 2)
    }
