"""How far a run's figures repeat: the entry "twins" of its JSON, and figures with their marks."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

from snapsim.analysis.figures import plain
from snapsim.simulation.reproducibility import (
    Lying,
    Output,
    Trust,
    Twins,
    digits,
    trust,
    two_values,
)
from snapsim.words.trust import lying_words, twin_words


def twins_summary(twins: Twins | None, blows: int) -> dict[str, Any]:
    """Return the JSON of what twins say of a run with that many `blows`."""
    if twins is None or twins.runs < 2:
        asked = 0 if twins is None else twins.asked
        said = twin_words(twins, blows)
        return {"asked": asked, "compared": 0, "says": said, "outputs": {}, "ends": {}}
    return {
        "asked": twins.asked,
        "compared": twins.runs - 1,
        "size": twins.size,
        "says": twin_words(twins, blows),
        "apart_s": _number(twins.apart),
        "blows_alike": twins.blows,
        "tipped": twins.tipped,
        "outputs": {name: _output(o, twins.apart) for name, o in twins.outputs.items()},
        "ends": {name: _ends(lying) for name, lying in twins.lying.items()},
    }


def _output(output: Output, apart: float) -> dict[str, Any]:
    found: dict[str, Any] = {
        "mark": trust(output, apart),
        "digits": digits(output),
        "values": [_number(v) for v in (output.value, *output.others)],
    }
    two = two_values(output)
    if found["mark"] == Trust.TWO_VALUED and two is not None:
        found["two_values"] = [{"value": _number(v), "runs": n} for v, n in two]
    return found


def counted(lying: tuple[Lying, ...]) -> list[tuple[Lying, int]]:
    """Return the different ends, the most frequent first, with the number of runs of each."""
    return Counter(lying).most_common()


def _ends(lying: tuple[Lying, ...]) -> list[dict[str, Any]]:
    return [
        {
            "touches": [{"body": body, "manner": manner} for body, manner in end.touches],
            "moving": end.moving,
            "runs": runs,
            "of": len(lying),
            "words": lying_words(end),
        }
        for end, runs in counted(lying)
    ]


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def marked(value: float | None, key: str, twins: Mapping[str, Any], factor: float = 1.0) -> str:
    """Return a figure for a table, rounded to what repeats; "lost" where nothing does.

    `key` is its name in the entry "twins"; `factor` brings it to the table's unit.
    """
    output = twins["outputs"].get(key)
    if value is None or output is None:
        return plain(None if value is None else factor * value)
    match Trust(output["mark"]):
        case Trust.LOST:
            return "lost"
        case Trust.TWO_VALUED:
            pair = [v["value"] for v in output["two_values"]]
            return " or ".join(plain(None if v is None else factor * v) for v in pair)
        case Trust.UNSETTLED:
            return f"{_rounded(value, output['values'], factor)} ?"
    return _rounded(value, output["values"], factor)


def _rounded(value: float, values: list[float | None], factor: float) -> str:
    """A figure to the last place that twice its spread leaves alone."""
    spread = 2.0 * max(abs(value - (other or 0.0)) for other in values)
    if spread > 0.0:
        value = round(value, -math.floor(math.log10(spread)))
    return plain(factor * value)


LEGEND: Final = (
    "lost: a twin has another figure; ?: a twin has the same, but it was settled after the runs had"
    " parted (--twins 8 tells)"
)
