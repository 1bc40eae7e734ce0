"""What a draft release says, in words: what happens first, and always what it does not know."""

from __future__ import annotations

import math

from snapsim.simulation.closing_gaps import FINGER_GAP, Closing
from snapsim.simulation.fate import Fate, FateKind
from snapsim.words.answers import REACTION, short
from snapsim.words.endings import ending_words

NOT_SEARCHED = (
    "Not searched: other poses, pushes, jerks and swings, other materials and friction."
    " That shows no safety."
)


def headline(
    part: str,
    fate: Fate,
    stronger: bool,
    error: float,
    held: tuple[str, ...],
    knocked: tuple[str, Fate] | None = None,
) -> str:
    """Return what happens if all is let go now; `knocked` slightly, where that takes it away."""
    if fate.kind is FateKind.SNAPS:
        return f"Let go now, the {part} {_snap(fate)}."
    found = f"{_if_held(held)}the {part} {_calm(fate)}."
    if knocked is not None:
        which, then = knocked
        if then.kind is FateKind.SNAPS:
            return (
                f"It may snap. In this draft run {found[:-1]}, but it only stands balanced: after a"
                f" slight knock the {which} {_snap(then)}."
            )
        found = f"{found[:-1]}, but it only stands balanced: a slight knock takes it away."
    if stronger:
        return (
            f"It may snap. In this draft run {found[:-1]}, but with a pull"
            f" {_per_cent(error)} stronger, which its cells may miss, it snaps."
        )
    return f"In this draft run {found}"


def _snap(fate: Fate) -> str:
    where = f"snaps to the {fate.struck}" if fate.struck else "goes to the magnet"
    if fate.speed <= 0:
        return f"{where}, so gently that no blow was met"
    return f"{where}: {short(fate.speed)} m/s, {_joule(fate.energy)} after {fate.time:.2g} s"


def _if_held(held: tuple[str, ...]) -> str:
    return f"{_listed(held)} did not let go and " if held else ""


def _calm(fate: Fate) -> str:
    match fate.kind:
        case FateKind.STAYS:
            return "stays where it is"
        case FateKind.FALLS_BACK:
            return "falls back"
        case FateKind.GOES_AWAY:
            return "falls out of the scene"
        case FateKind.UNDECIDED:
            return f"still moves after {short(fate.lasted)} s: what becomes of it is not known"
    why = "" if fate.ending is None else f": {ending_words(fate.ending)}"
    return f"has a motion that could not be computed{why}"


def gap_words(closing: Closing | None) -> str:
    """Return how little notice a finger has, "" where no such gap was seen to close."""
    if closing is None:
        return ""
    a, b = closing.bodies
    where = closing.place or (f"{a} to {b}" if b else a)
    notice = 0.0 if math.isnan(closing.notice) else closing.notice
    reaction = f"a person needs some {REACTION:g} s to react"
    if closing.start <= FINGER_GAP:
        return f"The gap {where} is narrower than a finger from the start and shuts; {reaction}."
    return f"A finger's gap ({where}) closes with {notice:.2g} s of notice; {reaction}."


def limit_words(count: int) -> str:
    """Return how many limits were passed; none is good news."""
    if not count:
        return "No limit was seen to be passed, which shows no safety."
    return f"Over at least {_counted(count)} limit{'s' if count > 1 else ''}."


def error_words(error: float, fate: Fate) -> str:
    """Return on which side a draft's figures err, and what it leaves out."""
    low = f"Draft cells: the pull at the start may be up to {_per_cent(error)} stronger"
    if fate.kind is FateKind.SNAPS:
        return (
            f"{low}, and so the blow harder and sooner. The run ends with the first snap; what"
            " follows is for Release to tell."
        )
    return f"{low}. {NOT_SEARCHED}"


def _joule(energy: float) -> str:
    return f"{short(energy)} J" if energy >= 0.1 else f"{short(1e3 * energy)} mJ"


def _per_cent(share: float) -> str:
    return f"{max(math.ceil(100 * share - 1e-9), 1)} %"


def _counted(count: int) -> str:
    words = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    return words[count - 1] if count <= len(words) else str(count)


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
