"""The push that moves a resting part, in words: on the side that it may begin earlier."""

from __future__ import annotations

from typing import TYPE_CHECKING

from snapsim.landscape.motion import towards
from snapsim.landscape.slipping import Begins

if TYPE_CHECKING:
    from snapsim.landscape.slipping import AlongPole, Slip

BEGINS = {
    Begins.SLIDES: "slides along {on}",
    Begins.TIPS: "tips over its edge on {on}",
    Begins.ROLLS: "rolls on {on}",
}


def slip_sentence(slip: Slip) -> str:
    """Return "pushed toward +x at its centre it slides along magnet from 12 N on"."""
    begins = BEGINS[slip.begins].format(on=" and ".join(slip.on))
    way = towards(slip.direction)
    lightest = slip.begins is Begins.ROLLS
    push = "at the lightest push" if lightest else f"from {slip.least:.3g} N on"
    head = f"pushed toward {way} at its centre it {begins} {push}"
    return head if slip.then is None else f"{head}; {_then(slip, slip.then)}"


def _then(slip: Slip, then: AlongPole) -> str:
    at = f"{1e3 * then.peak_at:.0f} mm"
    more = then.peak > slip.force.value + slip.force.error
    peak = f"it takes {then.peak:.3g} N at {at}; " if more else ""
    if then.goes_on is None:
        far = f"{1e3 * then.searched:.0f} mm"
        end = "past which it leaves the face" if then.leaves else "as far as was looked"
        return f"{peak}it must be pushed up to {far}, {end}"
    ends = {
        "stays": f"comes to rest at {then.reaches}, {1e3 * then.ends:.0f} mm that way",
        "snaps": f"snaps to {then.reaches}",
        "goes away": "comes off and falls out of the scene",
        "unfinished": "it was not found where it goes",
        None: "it was not found where it goes",
    }[then.fate]
    return f"{peak}from {1e3 * then.goes_on:.0f} mm on it goes on by itself and {ends}"


def slips_answer(body: str, slips: tuple[Slip, ...]) -> str:
    """Return what the first line of `margin` says of a part at a magnet; "" for nothing known."""
    if not slips:
        return ""
    least = slips[0]
    if least.begins is Begins.ROLLS:
        return f"the lightest push makes {body} roll"
    verb = "slide" if least.begins is Begins.SLIDES else "tip"
    return f"a push of {least.least:.3g} N at its centre may make {body} {verb}"
