"""How far a part is from snapping, in words; a bar is taken off what it says, never added."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.landscape.motion import towards
from snapsim.landscape.ways import WayEnd, WayStop

if TYPE_CHECKING:
    from snapsim.landscape.thresholds import RefinedQuantity, Threshold

FATES: Final[dict[str, str]] = {
    "snaps": "let go now, {body} snaps to {reached}",
    "stays": "let go now, {body} comes to rest without touching a magnet",
    "goes away": "let go now, {body} falls out of the scene",
    "unfinished": "let go now, it was not found where {body} goes: take it that it snaps",
    "touches": "{body} already touches {reached}: see poses for how firmly it is held",
}

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
    if t.beyond is not None:
        said = f"may snap from {_amount(t, t.least or 0.0)} on ({_bar(t, t.beyond)})"
    elif t.safe_from is not None:
        far = t.safe_from.value + t.safe_from.error
        said = f"snaps as it is; no snap found from {_amount(t, far)} on ({_bar(t, t.safe_from)})"
    else:
        said = stopped(t, bodies)
    if t.one_mesh:
        said += "; coarse and fine cells do not agree on it"
    if t.undecided is not None and (t.beyond is None or t.undecided < t.beyond.value):
        said += f"; at {_amount(t, t.undecided)} it was not found where it goes"
    return head + said


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


def margin_answer(
    fate: str, body: str, reached: str, ways: Sequence[Threshold], bodies: Sequence[str]
) -> str:
    """Return the first line of `margin`: what it does now, its weakest way, what was not found."""
    said = FATES[fate].format(body=body, reached=reached)
    if fate == "touches" or not ways:
        return f"{_opened(said)}."
    known = [t for t in ways if t.found]
    if known:
        weakest = known[0]
        head = "nearest way out of it" if weakest.beyond is None else "weakest way"
        effort = f", {_figure(weakest.work)} J of work" if weakest.beyond is not None else ""
        said += f"; {head}: {way_sentence(weakest, bodies)}{effort}"
    else:
        said += f"; on none of {len(ways)} ways a snap was found as far as they were followed"
    cut = [t for t in ways if t.stop.why is not WayEnd.HALF_TURN and not t.found]
    if cut:
        said += f"; {len(cut)} way{'s' if len(cut) > 1 else ''} ended before a snap was found"
    return f"{_opened(said)}."


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
    return f"{1e3 * x + 0.0:.0f}"


def _figure(x: float) -> str:
    return f"{x:.3g}"
