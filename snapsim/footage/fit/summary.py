"""What a fit says of itself: plain values, and tables for a terminal."""

from __future__ import annotations

from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.figures import number, plain
from snapsim.footage.fit.fitting import FitResult
from snapsim.footage.fit.telling_apart import Ambiguity
from snapsim.footage.fit.written import standard_error

CELLS = {"draft": "about 4 %", "normal": "1-2 %", "fine": "up to 1 %"}
"""Errors of force by cells; the guide, limits."""


def fit_summary(result: FitResult, open_questions: tuple[Ambiguity, ...]) -> dict[str, Any]:
    """Return what `--json` has under "fit"."""
    fitted = result.fitted
    release = result.predictor.camera(fitted.shares)[0]
    return {
        "confidence": result.confidence,
        "values": {u.key: _value(result, k) for k, u in enumerate(result.unknowns)},
        "correlation": [[number(c) for c in row] for row in result.intervals.correlation],
        "noise": number(fitted.noise),
        "places": int(fitted.rows.sum()),
        "fitted_until_s": number(fitted.until - release),
        "first_blow_s": number(fitted.blow - release),
        "blow_delay_s": number(fitted.delay[0]),
        "blow_delay_error_s": number(fitted.delay[1]),
        "open_questions": [
            {"keys": list(a.keys), "said": a.sentence, "helps": list(a.helps)}
            for a in open_questions
        ],
        "warnings": _warnings(result),
        "stages": list(fitted.stages),
        "releases": result.computed,
        "cpu_s": result.cpu,
    }


def fit_table(found: dict[str, Any]) -> RenderableType:
    """Return the tables of a fit from its summary."""
    percent = f"{100 * found['confidence']:g} %"
    table = Table("unknown", title="Fitted", title_justify="left")
    for heading in ("value", f"{percent} from", "to", "unit"):
        table.add_column(heading, justify="right")
    for key, v in found["values"].items():
        low, high = plain_six(v["low"]), plain_six(v["high"])
        table.add_row(
            escape(key), plain_six(v["value"]), low + " *" * v["open_low"],
            high + " *" * v["open_high"], v["unit"],
        )  # fmt: skip
    parts: list[RenderableType] = [table]
    if any(v["open_low"] or v["open_high"] for v in found["values"].values()):
        parts.append("* the bound given: the footage does not reach an end there")
    parts.append(_blow(found))
    for question in found["open_questions"]:
        parts.append(Text(question["said"] + "; it would help to:", style="bold red"))
        parts += [f"  - {escape(line)}" for line in question["helps"]]
    parts += [Text(line, style="bold red") for line in found["warnings"]]
    return Group(*parts)


def plain_six(value: float) -> str:
    """Six digits."""
    return f"{value:.6g}"


def _value(result: FitResult, k: int) -> dict[str, Any]:
    unknown, interval = result.unknowns[k], result.intervals.intervals[k]
    return {
        "value": unknown.value(float(result.fitted.shares[k])),
        "low": unknown.value(interval.low),
        "high": unknown.value(interval.high),
        "open_low": interval.open_low,
        "open_high": interval.open_high,
        "standard_error": standard_error(result, k),
        "cell_error": number(float(result.cells[k]) * (unknown.high - unknown.low)),
        "unit": "times" if unknown.relative else unknown.unit,
        "bounds": [unknown.low, unknown.high],
    }


def _blow(found: dict[str, Any]) -> str:
    """When the first blow fell, and whether its own time agrees."""
    if found["first_blow_s"] is None:
        return f"fitted {found['places']} places; no blow among them"
    said = f"fitted {found['places']} places; first blow {1e3 * found['first_blow_s']:.3f} ms"
    if found["blow_delay_s"] is None:
        return f"{said} after release"
    return (
        f"{said} after release; left free, its time moved by"
        f" {plain(1e3 * found['blow_delay_s'])} +- {plain(1e3 * found['blow_delay_error_s'])} ms"
    )


def _warnings(result: FitResult) -> list[str]:
    fitted, said = result.fitted, []
    release = result.predictor.camera(fitted.shares)[0]
    if fitted.until < fitted.asked - 1e-9:
        said.append(
            f"Fitted until {fitted.until - release:.4g} s after release only: later the motion"
            " answers too wildly to the unknowns to be fitted."
        )
    if np.isfinite(fitted.delay[0]) and abs(fitted.delay[0]) > 4 * fitted.delay[1]:
        said.append(
            "The first blow falls at another time than the motion before it says: something in"
            " scene, camera or model is off."
        )
    if not all(i.settled for i in result.intervals.intervals):
        said.append("Some ends of intervals were not found to 5 %.")
    if result.predictor.has_cells:
        detail = result.predictor.detail
        said.append(
            f'Forces with "{detail}" cells err by {CELLS[detail]}: that goes into the values, into'
            " remanence half of it; the intervals are widened for it."
        )
        unknown = [
            u.key for u, c in zip(result.unknowns, result.cells, strict=True) if not np.isfinite(c)
        ]
        if unknown:
            said.append(
                f"How far the cells move {', '.join(unknown)} is not known: search and last fit had"
                ' the same cells ([fitting] detail = "draft", finish = "normal" tells).'
            )
    return said
