"""What the runs of a setup say of a published limit, and that in words; none is a permission."""

from __future__ import annotations

from enum import StrEnum


class LimitVerdict(StrEnum):
    """Whether any run passed a limit."""

    NOT_JUDGED = "not_judged"
    """No run gave the number that it bounds."""
    EXCEEDED = "exceeded"
    NOT_EXCEEDED = "not_exceeded"


def verdict(beyond: int, known: int) -> LimitVerdict:
    """Return the verdict where `beyond` of the `known` numbers passed the limit."""
    if not known:
        return LimitVerdict.NOT_JUDGED
    return LimitVerdict.EXCEEDED if beyond else LimitVerdict.NOT_EXCEEDED


def counted_words(
    found: LimitVerdict, beyond: int, known: int, runs: int, applies: str = ""
) -> str:
    """Return in how many runs it was exceeded, of those `known` to give the number and of all.

    What follows from that is not said. `applies`: the kind of blow it is for, where not for all.
    """
    if found == LimitVerdict.NOT_JUDGED and applies:
        return f"does not apply: only to {applies}"
    if found == LimitVerdict.NOT_JUDGED:
        return "not judged: no run gave this number"
    if found == LimitVerdict.EXCEEDED:
        return f"exceeded in {beyond} of {runs} runs"
    if known < runs:
        return f"not exceeded in the {known} of {runs} runs that gave this number"
    return f"not exceeded in these {runs} runs"


def verdict_words(
    found: LimitVerdict, equipment: str, beyond: int, known: int, runs: int, applies: str = ""
) -> str:
    """Return the whole sentence; `equipment` is what the limit rates, "" where it rates none."""
    counted = counted_words(found, beyond, known, runs, applies)
    if found == LimitVerdict.EXCEEDED:
        thing = f"{equipment} is not enough" if equipment else "limit exceeded"
        return f"{thing}: {counted}"
    return f"{counted}; that shows no safety" if found == LimitVerdict.NOT_EXCEEDED else counted


def by_cells_words(count: int) -> str:
    """Return what to add where `count` runs exceed it only with what their cells may leave out."""
    if not count:
        return ""
    return f"; {count} of them only with the error of the cells added"
