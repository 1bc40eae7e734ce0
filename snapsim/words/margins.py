"""How far a part is from snapping, in words; a bar is taken off what it says, never added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.landscape.confirmation import Ruling
from snapsim.landscape.motion import towards
from snapsim.landscape.ways import WayEnd, WayStop
from snapsim.simulation.fate import FateKind

if TYPE_CHECKING:
    from snapsim.landscape.confirmation import Confirmation, LetGo
    from snapsim.landscape.thresholds import RefinedQuantity, Threshold

FATES: Final[dict[str, str]] = {
    "snaps": "let go now, {body} snaps to {reached}",
    "stays": "let go now, {body} comes to rest without touching a magnet",
    "goes away": "let go now, {body} falls out of the scene",
    "unfinished": "let go now, it was not found where {body} goes: take it that it snaps",
    "touches": "{body} already touches {reached}: see poses for how firmly it is held",
}

UNCONFIRMED: Final = "; by a slow fall, not confirmed by releases"
NOT_TRIED: Final = "; not confirmed by releases: those of one margin were spent on weaker ways"

RELEASED: Final[dict[str, str]] = {
    FateKind.UNDECIDED: "it did not come to rest in the time it was followed",
    FateKind.NO_ROOM: "it overlaps another body",
    FateKind.FAILED: "what becomes of it could not be computed",
}
"""What a release came to that is not known to be safe."""

TURNS: Final = np.radians(20.0)
"""Angle from which a part that is let go is said to turn."""

_STOPS: Final[dict[WayEnd, str]] = {
    WayEnd.FARTHEST: "as far as was looked",
    WayEnd.HALF_TURN: "half a turn",
    WayEnd.AT_MAGNET: "where it meets {body}",
    WayEnd.BLOCKED: "where {body} is in the way",
    WayEnd.TIED: "where its joint lets it go no farther",
}


def way_name(t: Threshold) -> str:
    """Return "tilt about +y", "push toward -x"."""
    if t.kind == "tilt":
        return f"tilt about {towards(np.asarray(t.direction))}"
    return f"{t.kind} toward {towards(np.asarray(t.direction))}"


def way_sentence(t: Threshold, bodies: Sequence[str]) -> str:
    """Return what is known of one way; `bodies` are the names of the scene's."""
    about = "" if t.pivot is None else f" about ({', '.join(_mm(x) for x in t.pivot)}) mm"
    head = f"{way_name(t)}{about}: "
    if t.snaps_now:
        said = _back(t)
    elif t.least is not None:
        said = f"may snap from {_amount(t, t.least)} on ({_whence(t)})"
    else:
        said = stopped(t, bodies)
    said += "" if t.snaps_now and t.safe_from is None else _confirmed(t)
    if t.one_mesh:
        said += "; coarse and fine cells do not agree on it"
    if t.undecided is not None and (t.least is None or t.undecided < t.least):
        said += f"; at {_amount(t, t.undecided)} it was not found where it goes"
    return head + said


def _back(t: Threshold) -> str:
    """How far back a part that snaps as it is no longer does."""
    if t.safe_from is None or t.no_snap_from is None:
        return f"snaps as it is, and from wherever it was let go up to {_amount(t, t.searched)}"
    far = _bar(t, t.safe_from)
    return f"snaps as it is; no snap found from {_amount(t, t.no_snap_from)} on ({far})"


def _whence(t: Threshold) -> str:
    """What a figure comes from: the slow fall with its bar, or the release that takes it back."""
    slow = "" if t.beyond is None else f"slow fall {_bar(t, t.beyond)}"
    if t.confirmation is None or not t.by_release or t.confirmation.decisive is None:
        return slow
    if t.confirmation.edge is None and t.confirmation.decisive.s == 0.0:
        return "as it is now"
    said = [_release(t, one) for one in told_of(t.confirmation)]
    return "; ".join(x for x in (*said, slow) if x)


def told_of(said: Confirmation) -> list[LetGo]:
    """Return the releases that are told: the one that decides, and where that one was not known to
    come to rest, the nearest one that snapped, if any did."""
    decisive = said.decisive
    if decisive is None or decisive.kind is FateKind.SNAPS:
        return [] if decisive is None else [decisive]
    snapped = [one for one in said.tried if one.kind is FateKind.SNAPS]
    near = min(snapped, key=lambda one: abs(one.s - decisive.s), default=None)
    return [decisive] if near is None else [decisive, near]


def _release(t: Threshold, one: LetGo) -> str:
    """What the release came to that decides."""
    head = f"let go at {_amount(t, one.s)}"
    if one.kind not in (FateKind.SNAPS, FateKind.TOUCHES):
        said = RELEASED.get(one.kind, RELEASED[FateKind.FAILED])
        return f"{head} {said}: not counted as safe"
    if not one.snapped:
        return f"{head} it is at a magnet"
    turn = (
        f" turns by {np.degrees(one.turned):.0f} deg as it falls and" if one.turned > TURNS else ""
    )
    if not one.alike:
        turn += ", with the pull at the top of its cells' bar,"
    return f"{head} {one.snapped}{turn} snaps to {one.struck}"


def _confirmed(t: Threshold) -> str:
    """How far releases confirm what is said."""
    said = t.confirmation
    if said is None:
        return UNCONFIRMED
    return NOT_TRIED if said.ruling is Ruling.NOT_TRIED else ""


def stopped(t: Threshold, bodies: Sequence[str]) -> str:
    """Return how far a way was looked at without finding a snap, and why no farther."""
    why = stop_words(t.stop, bodies)
    found = f"no snap found up to {_amount(t, t.searched)}"
    if t.stop.why is WayEnd.HALF_TURN:
        return f"{found}, {why}"
    if t.stop.why is WayEnd.FARTHEST:
        return f"{found}, {why}; not searched beyond"
    return f"{found}; stopped there, {why}; not searched beyond"


def stop_words(stop: WayStop, bodies: Sequence[str]) -> str:
    """Return why a way went no farther."""
    return _STOPS[stop.why].format(body="" if stop.body is None else bodies[stop.body])


def broken_off(left: Sequence[str], unconfirmed: int) -> str:
    """Return what an interrupted search did not look at: ways by kind, and how many of those that
    it measured no release confirms."""
    said = [f"{n} {kind} way{'s' if n > 1 else ''}" for kind, n in Counter(left).items()]
    ways = f"{_several(said)} not looked at" if said else "all ways were looked at"
    releases = f", {unconfirmed} not confirmed by releases" if unconfirmed else ""
    return f"Interrupted: {ways}{releases}."


def _several(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def margin_answer(
    fate: str, body: str, reached: str, ways: Sequence[Threshold], bodies: Sequence[str]
) -> str:
    """Return the first line of `margin`: what it does now, its weakest way, what was not found."""
    said = FATES[fate].format(body=body, reached=reached)
    if fate == "touches" or not ways:
        return f"{_opened(said)}."
    known = [t for t in ways if t.found]
    if fate == "stays" and known and known[0].least is not None and known[0].least <= 0.0:
        said = (
            f"let go now, {body} may snap, though as computed it comes to rest away from a magnet"
        )
    if known:
        weakest = known[0]
        head = "weakest way" if weakest.safe_from is None else "nearest way out of it"
        effort = f", {_figure(weakest.work)} J of work" if weakest.safe_from is None else ""
        said += f"; {head}: {way_sentence(weakest, bodies)}{effort}"
    elif ways[0].snaps_now:
        said += f"; on none of {len(ways)} ways it was found to get out of it"
    else:
        said += f"; on none of {len(ways)} ways a snap was found as far as they were followed"
    said += _share_confirmed(ways)
    cut = [t for t in ways if t.stop.why is not WayEnd.HALF_TURN and not (t.found or t.snaps_now)]
    if cut:
        said += f"; {len(cut)} way{'s' if len(cut) > 1 else ''} ended before a snap was found"
    return f"{_opened(said)}."


def _share_confirmed(ways: Sequence[Threshold]) -> str:
    """What releases say of all ways together; the weakest of them says it of itself."""
    said = [t.confirmation for t in ways if t.confirmation is not None]
    count = sum(len(c.tried) for c in said)
    if not count:
        return ""
    decided = sum(c.decides for c in said)
    took_back = f", which took back {decided} of {len(ways)} ways" if decided else ""
    return f"; {count} releases from within what a slow fall calls safe{took_back}"


def _opened(said: str) -> str:
    return said[:1].upper() + said[1:]


def _bar(t: Threshold, q: RefinedQuantity) -> str:
    scale, unit = _scale(t)
    return f"{_figure(scale * q.value)} +- {_figure(scale * q.error)} {unit}"


def _amount(t: Threshold, value: float) -> str:
    scale, unit = _scale(t)
    return f"{_figure(scale * value)} {unit}"


def _scale(t: Threshold) -> tuple[float, str]:
    return (float(np.degrees(1.0)), "deg") if t.kind == "tilt" else (1e3, "mm")


def _mm(x: float) -> str:
    return f"{round(1e3 * x) + 0}"


def _figure(x: float) -> str:
    return f"{x:.3g}"
