"""How far several parts together are from snapping, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.simulation.fate import FateKind
from snapsim.words.margins import TURNS, way_sentence

if TYPE_CHECKING:
    from snapsim.landscape.confirmation import LetGo
    from snapsim.landscape.joint_margin import JointMargin, JointWay

NOW: Final[dict[str, str]] = {
    FateKind.STAYS: "none of {parts} snaps",
    FateKind.FALLS_BACK: "none of {parts} snaps",
    FateKind.GOES_AWAY: "none of {parts} snaps, but a part falls out of the scene",
    FateKind.TOUCHES: "a part is at a magnet",
}
"""What comes of letting all parts go as they are; all else is not known."""


def joint_answer(found: JointMargin) -> str:
    """Return the first line of `margin --together`."""
    said = f"let all go now, {_now(found)}"
    known = [w for w in found.ways if w.threshold.found]
    if known:
        names = [b.name for b in found.system.bodies]
        weakest = known[0]
        work = f", {weakest.threshold.work:.3g} J of work"
        said += f"; weakest way: {joint_way_sentence(weakest, names)}{work}"
        said += f"; a snap may come on {len(known)} of {len(found.ways)} ways looked at"
    elif found.ways:
        said += f"; on none of {len(found.ways)} ways a snap was found as far as they were followed"
    left = sum(n for _, _, n in found.left_out)
    if left:
        why = ": interrupted" if found.interrupted else ""
        said += f"; {left} ways were NOT looked at{why}"
    said += f" ({found.releases} releases, the pull raised by {100 * found.stronger:.0f} % at most)"
    return f"{said[:1].upper()}{said[1:]}."


def _now(found: JointMargin) -> str:
    now = found.now
    if now.kind is FateKind.SNAPS:
        turn = f" turns by {np.degrees(now.turned):.0f} deg and" if now.turned > TURNS else ""
        return f"{now.snapped}{turn} snaps to {now.struck}{_with_it(now)}"
    parts = " and ".join(found.bodies)
    unknown = f"it was not found where {now.snapped or parts} goes: take it that it snaps"
    moved = f" ({' and '.join(now.moved)} move)" if now.moved else ""
    return NOW.get(now.kind, unknown).format(parts=parts) + moved


def joint_way_sentence(way: JointWay, bodies: Sequence[str]) -> str:
    """Return what is known of one way of one part, and what moves with it in a snap."""
    said = f"{way.body}: {way_sentence(way.threshold, bodies)}"
    confirmation = way.threshold.confirmation
    if confirmation is None or confirmation.decisive is None:
        return said
    return said + _with_it(confirmation.decisive)


def _with_it(one: LetGo) -> str:
    """What else moves in a release that is not safe."""
    others = [name for name in one.moved if name != one.snapped]
    return f"; {' and '.join(others)} moves too" if len(others) == 1 else (
        f"; {' and '.join(others)} move too" if others else ""
    )  # fmt: skip


def left_out_words(found: JointMargin) -> list[str]:
    """Return a line for each kind of way of a part that was not looked at."""
    return [
        f"{body}: {count} {kind} way{'s' if count > 1 else ''} not looked at"
        for body, kind, count in found.left_out
    ]
