"""How the point of no return moves with one key: JSON, table and CSV of `margin --against`."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, numbers, plain
from snapsim.analysis.margins import LIMITS, way_summary
from snapsim.analysis.tables import cautions
from snapsim.landscape.confirmation import Decider

if TYPE_CHECKING:
    from snapsim.landscape.continuation import Continuation, Row

SHORT_FATES = {
    "snaps": "snaps as it is",
    "stays": "stays",
    "goes away": "falls out of the scene",
    "unfinished": "not found",
    "touches": "at the magnet",
    "none": "cannot be",
}


def continuation_summary(found: Continuation) -> dict[str, Any]:
    """Return what `snapsim margin --against --json` prints; each row's ways as in `margin`."""
    return {
        "title": found.title,
        "body": found.body,
        "against": {"key": found.key, "unit": found.unit},
        "stands_at_m": None if found.stands_at is None else numbers(found.stands_at),
        "rows": [_row(row, found.bodies) for row in found.rows],
        "limits": list(LIMITS),
        "cautions": list(CAUTIONS),
    }


def _row(row: Row, bodies: tuple[str, ...]) -> dict[str, Any]:
    return {
        "value": list(row.numbers),
        "fate": row.fate,
        "problem": row.problem or None,
        "axis_from_vertical_deg": number(np.degrees(row.upright)),
        "ways": [way_summary(t, bodies) for t in row.thresholds],
    }


def ways_of(result: dict[str, Any]) -> list[str]:
    """Return the names of all ways that any row has, tilts first, in order of appearance."""
    names = dict.fromkeys(w["way"] for row in result["rows"] for w in row["ways"])
    return sorted(names, key=lambda name: not name.startswith("tilt"))


def tilt_there(row: dict[str, Any], name: str) -> float | None:
    """Return the angle [deg] of the part's axis from the vertical at a tilt's threshold."""
    for way in row["ways"]:
        if way["way"] == name and way["kind"] == "tilt" and way["place"] is not None:
            return float(way["place"]["axis_from_vertical_deg"])
    return None


def limit_of(row: dict[str, Any], name: str) -> tuple[float | None, float | None]:
    """Return a way's threshold and its error bar in a row, in degrees or mm; None where none."""
    for way in row["ways"]:
        if way["way"] != name:
            continue
        unit, scale = ("deg", 1.0) if way["kind"] == "tilt" else ("m", 1e3)
        if way["decided_by_code"] == Decider.RELEASE:
            edges = (way[f"{key}_from_{unit}"] for key in ("may_snap", "no_snap"))
            edge = next((e for e in edges if e is not None), None)
            return (None, None) if edge is None else (scale * edge, 0.0)
        for key in ("snaps_beyond", "safe_from"):
            value, error = way[f"{key}_{unit}"], way[f"{key}_error_{unit}"]
            if value is not None:
                return scale * value, scale * (error or 0.0)
    return None, None


def continuation_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of a `continuation_summary`: a row a value, a column a way."""
    key, unit = result["against"]["key"], result["against"]["unit"]
    ways = ways_of(result)
    table = Table(f"{escape(key)}\n{unit}", "let go as it is", title_justify="left")
    for name in ways:
        table.add_column(f"{escape(name)}\n{'deg' if name.startswith('tilt') else 'mm'}")
    for row in result["rows"]:
        value = " x ".join(plain(round(x, 6)) for x in row["value"])
        table.add_row(value, SHORT_FATES[row["fate"]], *(_cell(row, name) for name in ways))
    title = f"{result['title']}: how far {result['body']} is from snapping, against {key}"
    said = "Where it snaps as it is, the number is how far back it no longer does."
    if result["stands_at_m"] is not None:
        at = ", ".join(f"{1e3 * x + 0.0:.1f}" for x in result["stands_at_m"])
        said += f" It stands at ({at}) mm at the first value; values that turn it keep that point."
    said += ' "none up to": followed no farther than that, not searched beyond.'
    problems = [
        Text(f"{row['value']}: {row['problem']}") for row in result["rows"] if row["problem"]
    ]
    limits = Text("\n".join((said, *result["limits"])))
    return Group(Text(title, style="bold"), table, *problems, limits, cautions())


def _cell(row: dict[str, Any], name: str) -> str:
    value, error = limit_of(row, name)
    if value is None or error is None:
        return _not_found(row, name)
    mark = " back" if row["fate"] == "snaps" else ""
    axis = tilt_there(row, name)
    there = "" if axis is None else f"\naxis then {plain(round(axis, 1))}"
    bar = f" +- {plain(round(error, 2))}" if error else ", by release"
    return f"{plain(round(value, 2))}{bar}{mark}{there}"


def _not_found(row: dict[str, Any], name: str) -> str:
    """How far a way was followed without a snap; "" where there is no such way."""
    for way in row["ways"]:
        if way["way"] == name:
            unit, scale = ("deg", 1.0) if way["kind"] == "tilt" else ("m", 1e3)
            none = "snaps up to" if way["snaps_as_it_is"] else "none up to"
            return f"{none} {plain(round(scale * way[f'searched_{unit}'], 1))}"
    return ""


def continuation_csv(result: dict[str, Any]) -> str:
    """Return one line a value and way; lengths in m, angles in degrees."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    unit = result["against"]["unit"]
    table.writerow(
        [f"{result['against']['key']} [{unit}]", "fate", "way", "limit", "error", "unit"]
    )
    for row in result["rows"]:
        value = " x ".join(repr(x) for x in row["value"])
        for way in row["ways"] or [None]:
            if way is None:
                table.writerow([value, row["fate"], "", "", "", ""])
                continue
            limit, error = limit_of(row, way["way"])
            tilt = way["kind"] == "tilt"
            scale = 1.0 if tilt else 1e-3
            found = ["", ""] if limit is None else [scale * limit, scale * (error or 0.0)]
            table.writerow([value, row["fate"], way["way"], *found, "deg" if tilt else "m"])
    return text.getvalue()
