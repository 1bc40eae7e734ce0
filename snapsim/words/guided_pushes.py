"""The push along the freedom that joints leave a part, in words: on the side that may be enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.guided_push import least_of
from snapsim.landscape.motion import towards

if TYPE_CHECKING:
    from snapsim.landscape.guided_push import GuidedPush


def guided_sentence(push: GuidedPush) -> str:
    """Return "pushed along rail toward +x: 12 N start it; 18 N, kept up, may be enough to take it
    to 57 mm, from where it may snap (slowly 31 N, at 40 mm)"."""
    said = f"{_pushed(push)}: {_starting(push)}; {_amount(push, least_of(push.kept_up))}, kept up,"
    if not push.snaps:
        return f"{said} take it to {_way(push, push.until)}: no snap found as far as that"
    slow = f"slowly {_amount(push, least_of(push.slow))}, at {_way(push, push.slow_at)}"
    knock = f"a knock of {least_of(push.work):.3g} J"
    return (
        f"{said} may be enough to take it to {_way(push, push.until)}, from where it may snap"
        f" ({slow}; {knock})"
    )


def guided_answer(pushes: tuple[GuidedPush, ...]) -> str:
    """Return what the first line of `margin` says of a part on joints; "" where no push was found
    to end in a snap."""
    least = next((one for one in pushes if one.snaps), None)
    if least is None:
        return ""
    kept_up = _amount(least, least_of(least.kept_up))
    return f"{_pushed(least)}, {kept_up} kept up may be enough to snap"


def _pushed(push: GuidedPush) -> str:
    joints = " and ".join(push.joints)
    if push.turns:
        return f"turned on {joints} about {towards(push.direction)}"
    return f"pushed along {joints} toward {towards(push.direction)}"


def _starting(push: GuidedPush) -> str:
    least = least_of(push.starts)
    return f"{_amount(push, least)} start it" if least > 0 else "the lightest push starts it"


def _amount(push: GuidedPush, size: float) -> str:
    """A force, or a torque with the force at the farthest point that gives it."""
    if not push.turns:
        return f"{size:.3g} N"
    return f"{size:.3g} N m ({size / push.farthest:.3g} N at its far end)"


def _way(push: GuidedPush, s: float) -> str:
    return f"{np.degrees(s):.3g} deg" if push.turns else f"{1e3 * s:.3g} mm"
