"""Margins confirmed by releases: no way is said to be safe where a release snaps.

From places within what the slow fall calls safe (`landscape.thresholds`) the part is let go at rest
with all other free bodies (`letting_go`). Places looked at are `SHARES` of the safe part; between
the nearest that is not safe and the last that is, the bracket is halved and its edge drawn back:
what falls and tumbles need not snap from one place on only, so a band between the places looked at
can be missed.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import nullcontext, suppress
from functools import partial
from typing import Final

from snapsim.landscape.confirmation import Confirmation, LetGo, Ruling
from snapsim.landscape.creep import Crept
from snapsim.landscape.margin import Margin, margin
from snapsim.landscape.thresholds import (
    KINDS,
    MeasuredWay,
    Threshold,
    WayKind,
    Ways,
    weakness,
)
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.simulation.system import System
from snapsim.study.letting_go import LettingGo
from snapsim.work.progress import Progress

SHARES: Final = (1.0, 0.85, 0.6, 0.3)
"""Shares of the safe part of a way from which the part is let go, the farthest first."""

MOST: Final = 60
"""Releases of one margin at most; the weakest ways come first."""


def confirmed_margin(
    system: System,
    body: str | None = None,
    progress: Progress | None = None,
    kinds: Collection[WayKind] = KINDS,
) -> Margin:
    """Return how far a body is from snapping, confirmed by releases; errors as in `margin`."""
    return margin(system, body, progress, kinds, partial(confirmed, partly=True))


def confirmed(
    ways: Ways, now: Crept, found: Sequence[MeasuredWay], partly: bool = False
) -> tuple[LetGo, list[MeasuredWay]]:
    """Return what comes of letting go as it is, and the ways with what releases say of them, the
    weakest first. An interrupt passes through, unless `partly`: then the ways that it left out
    come without."""
    weakest = [t.place for _, t in found if t.place is not None][:1]
    releases = LettingGo(ways, weakest)
    present = releases.at(ways.place, 0.0)
    whole: list[MeasuredWay] = []
    with suppress(KeyboardInterrupt) if partly else nullcontext():
        for k, (way, t) in enumerate(found):
            ways.progress(f"letting go: {t.kind}", k, len(found))
            said = confirmation(releases, way, t, now.fate == "snaps", present)
            whole.append((way, ways.decided(way, t, said)))
    whole += found[len(whole) :]
    return present, sorted(whole, key=lambda pair: weakness(pair[1]))


def confirmation(
    releases: LettingGo, way: PushWay | TiltWay, t: Threshold, snaps_now: bool, present: LetGo
) -> Confirmation:
    """Return what releases within the safe part of a way say."""
    if snaps_now and t.safe_from is None:
        return Confirmation(Ruling.CONFIRMED, None, None, (), releases.stronger)
    if snaps_now:
        near = min(t.safe_from.value + t.safe_from.error, t.searched)  # type: ignore[union-attr]
        far, last = t.searched, None
    else:
        near, far, last = t.searched if t.least is None else t.least, 0.0, present
        if not present.safe:
            return releases.ruled(None, present, ())
    return _looked(releases, way, (near, far), last)


def _looked(
    releases: LettingGo, way: PushWay | TiltWay, ends: tuple[float, float], last: LetGo | None
) -> Confirmation:
    """Look from the edge of the safe part inward; bracket where a release is not safe."""
    near, far = ends
    if releases.spent + len(SHARES) > MOST:
        return Confirmation(Ruling.NOT_TRIED, None, None, (), releases.stronger)
    tried: list[LetGo] = []
    for share in SHARES:
        one = releases.on(way, far + share * (near - far))
        tried += [] if one is None else [one]
    bad = [k for k, one in enumerate(tried) if not one.safe]
    if not bad:
        return Confirmation(Ruling.CONFIRMED, near, None, tuple(tried), releases.stronger)
    worst, inner = tried[bad[-1]], tried[bad[-1] + 1 :]
    safe = inner[0] if inner else last
    if safe is None:
        return releases.ruled(None, worst, tuple(tried))
    return releases.bracketed(way, (safe, worst), tried)
