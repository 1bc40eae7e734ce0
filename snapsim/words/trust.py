"""How far a run's figures repeat, and how parts ended, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from snapsim.simulation.reproducibility import Lying, Manner, Twins

NOT_CHECKED: Final = "not checked: no twin run says which of these figures repeat (--twins 1)"

NOT_COMPARED: Final = "not checked: no twin run came to an end that can be compared"

_MANNERS: Final[dict[Manner, str]] = {
    Manner.FLAT: "flat on {}",
    Manner.EDGE: "on edge on {}",
    Manner.POINT: "touching {}",
}


def twin_words(twins: Twins | None, blows: int) -> str:
    """Return how far a run with that many `blows` and its twins are the same."""
    if twins is None:
        return NOT_CHECKED
    if twins.runs < 2:
        return NOT_COMPARED
    who = "its twin" if twins.runs == 2 else f"its {twins.runs - 1} twins"
    failed = f"; {twins.failed} more could not be compared" if twins.failed else ""
    said = f"the run and {who}, begun {twins.size:.0e} otherwise, do the same"
    if twins.tipped:
        failed += f"; at rest it only stands balanced: a slight knock took {twins.tipped} elsewhere"
    if twins.apart == float("inf"):
        return f"{said} to the end{failed}"
    return (
        f"{said} until {twins.apart:.4g} s ({twins.blows} of {blows} blows); what comes after that"
        f" is one of several courses{failed}"
    )


COURSES: Final = "in one of several courses"


def by_chance(twins: Twins | None, time: float) -> str:
    """Return what is added to words about a time [s] at which the run's twins had parted."""
    return f", {COURSES}" if twins is not None and twins.parted(time) else ""


def mark_of(twins: Twins | None, time: float) -> str:
    """Return the mark of a figure of a time [s]: " ?" where the run's twins had parted."""
    return " ?" if twins is not None and twins.parted(time) else ""


def lying_words(lying: Lying) -> str:
    """Return how a part ended."""
    order = sorted(lying.touches, key=lambda touch: list(Manner).index(touch[1]))
    found = [_MANNERS[manner].format(f"the {name}") for name, manner in order]
    where = " and ".join(found) or "touching nothing"
    return f"{where}, still moving" if lying.moving else where


def shares_words(counted: Sequence[tuple[Lying, int]], runs: int) -> str:
    """Return the ends of a part with the number of runs that had each."""
    return "; ".join(f"{lying_words(end)} in {count} of {runs}" for end, count in counted)
