"""From which value of a key on a condition holds: JSON and table of `margin --find`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, plain
from snapsim.analysis.tables import cautions
from snapsim.words import found_values as words

FOUND_LIMITS = (
    "Each value was tried by a release or by margins with their error bars taken off; a band of the"
    " range narrower than the first steps can be missed.",
    "Where a part was not found to come to rest or could not be computed, the condition counts as"
    " not met.",
)


def found_summary(
    span: words.Ranged,
    said: dict[str, Any],
    ends: tuple[Sequence[float] | None, Sequence[float] | None],
    tried: list[dict[str, Any]],
) -> dict[str, Any]:
    """Return what `margin --find --json` prints; `said` has title, body, condition, outcome code,
    whether greater values hold, and detail; `ends` the value and the nearest that fails."""
    value, beyond = (None if e is None else words.value_words(span, e) for e in ends)
    answer = _answer(span, said, value, beyond, tried)
    return {
        "title": said["title"],
        "answer": answer,
        "body": said["body"],
        "find": {"key": span.key, "unit": span.unit},
        "so_that": said["condition"],
        "outcome_code": said["outcome"],
        "value": None if ends[0] is None else list(ends[0]),
        "fails_at": None if ends[1] is None else list(ends[1]),
        "greater_values_hold": said["rising"],
        "tried": tried,
        "limits": list(FOUND_LIMITS),
        "cautions": list(CAUTIONS),
    }


def _answer(
    span: words.Ranged,
    said: dict[str, Any],
    value: str | None,
    beyond: str | None,
    tried: list[Any],
) -> str:
    condition, outcome = said["condition"], said["outcome"]
    if value is not None and beyond is not None:
        return words.found_words(span, condition, value, beyond, tried[-1]["detail"])
    if value is not None:
        return words.always_words(span, condition)
    if beyond is not None:
        return words.contradicted_words(span, condition, beyond)
    held, not_ = ([_numbers(t) for t in tried if t["holds"] is kept] for kept in (True, False))
    if outcome == "never" or not held:
        return words.never_words(span, condition)
    return words.not_monotone_words(span, condition, held, not_)


def tried_summary(
    numbers: Sequence[float], detail: str, measure: float | None, holds: bool, problem: str
) -> dict[str, Any]:
    """Return one value that was tried."""
    return {
        "value": list(numbers),
        "detail": detail,
        "measure": None if measure is None else number(measure),
        "holds": holds,
        "problem": problem or None,
    }


def _numbers(tried: dict[str, Any]) -> str:
    return " x ".join(f"{x:.4g}" for x in tried["value"])


def found_table(result: dict[str, Any]) -> RenderableType:
    """Return the answer and the values tried, in order of the range."""
    unit = result["find"]["unit"]
    table = Table(f"{escape(result['find']['key'])}\n{unit}", "holds", "measured, SI", "cells")
    for one in sorted(result["tried"], key=lambda t: t["value"]):
        measured = one["problem"] or plain(one["measure"])
        table.add_row(_numbers(one), "yes" if one["holds"] else "no", measured, one["detail"])
    answer = Text(result["answer"], style="bold" if result["value"] is not None else "bold red")
    title = Text(f"{result['title']}: {result['body']}")
    return Group(answer, title, table, Text("\n".join(result["limits"])), cautions())
