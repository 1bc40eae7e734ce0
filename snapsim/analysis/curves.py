"""Force along a line and over a plane as JSON, table and CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.figures import number, numbers, plain
from snapsim.analysis.tables import cautions

if TYPE_CHECKING:
    from snapsim.landscape.curves import DistanceCurve, ForceMap

MOST_ROWS = 13
AXES = "xyz"


def along_summary(
    title: str, body: str, curve: DistanceCurve, bodies: Sequence[str] = ()
) -> dict[str, Any]:
    """Return force against distance; magnetic force and torque, world axes, None in an overlap.

    "from" says what the part feels of each of `bodies` (all names in their order), where asked for.
    """
    result: dict[str, Any] = {
        "title": title,
        "along": {
            "body": body,
            "direction": numbers(curve.direction),
            "distance_m": numbers(curve.distance),
            "gap_m": numbers(curve.gap),
            "force_N": [numbers(row) for row in curve.force],
            "torque_Nm": [numbers(row) for row in curve.torque],
            "magnetic_energy_J": numbers(curve.energy),
        },
    }
    if curve.felt is not None:
        result["along"]["from"] = {
            bodies[j]: {
                "force_N": [numbers(row[:3]) for row in curve.felt[:, j]],
                "torque_Nm": [numbers(row[3:]) for row in curve.felt[:, j]],
            }
            for j in _felt(curve)
        }
    return result


def _felt(curve: DistanceCurve) -> list[int]:
    """Numbers of the bodies that the part feels anywhere on the way."""
    if curve.felt is None:
        return []
    return [j for j in range(curve.felt.shape[1]) if np.nan_to_num(curve.felt[:, j]).any()]


def map_summary(title: str, body: str, found: ForceMap) -> dict[str, Any]:
    """Return force over a plane: rows of the second axis, each with points of the first."""
    i, j = found.axes
    return {
        "title": title,
        "map": {
            "body": body,
            "plane": AXES[i] + AXES[j],
            "u_m": numbers(found.u),
            "v_m": numbers(found.v),
            "force_N": [[numbers(point) for point in row] for row in found.force],
            "magnetic_energy_J": [numbers(row) for row in found.energy],
        },
    }


def along_table(result: dict[str, Any]) -> RenderableType:
    """Return a table of at most MOST_ROWS rows of `along_summary`."""
    along = result["along"]
    table = Table("moved by\nmm", title_justify="left")
    for heading in ("gap\nmm", "force x y z\nN", "along the way\nN", "energy\nJ"):
        table.add_column(heading, justify="right")
    sources = along.get("from", {})
    for name in sources:
        table.add_column(f"from {escape(name)}\nx y z, N", justify="right")
    count = len(along["distance_m"])
    for k in np.unique(np.linspace(0, count - 1, min(count, MOST_ROWS)).round().astype(int)):
        force = along["force_N"][k]
        gap = along["gap_m"][k]
        if None in force:
            table.add_row(
                plain(1e3 * along["distance_m"][k]), "overlaps", "", "", "", *("" for _ in sources)
            )
            continue
        table.add_row(
            plain(1e3 * along["distance_m"][k]),
            plain(1e3 * gap) if gap is not None else "-",
            "  ".join(plain(f) for f in force),
            plain(float(np.dot(force, along["direction"]))),
            plain(along["magnetic_energy_J"][k]),
            *("  ".join(plain(f) for f in felt["force_N"][k]) for felt in sources.values()),
        )
    note = f"{along['body']}, orientation kept; magnetic force only, weight not included"
    return Group(Text(result["title"], style="bold"), table, note, cautions())


def map_table(result: dict[str, Any]) -> RenderableType:
    """Return the extent and the extremes of a map; the numbers themselves are for CSV and JSON."""
    found = result["map"]
    size = np.array(
        [
            [np.nan if None in point else float(np.linalg.norm(point)) for point in row]
            for row in found["force_N"]
        ]
    )
    free = np.isfinite(size)
    lines = [
        f"{found['body']} over the {found['plane']} plane, orientation kept:"
        f" {free.sum()} of {size.size} places are free",
    ]
    if free.any():
        low, high = float(np.nanmin(size)), float(np.nanmax(size))
        lines.append(f"magnetic force from {plain(low)} N to {plain(high)} N (weight not included)")
    return Group(Text(result["title"], style="bold"), *lines, cautions())


def along_csv(curve: DistanceCurve, bodies: Sequence[str] = ()) -> str:
    """Return the whole curve as CSV with units in its heading."""
    head = ["distance [m]", "gap [m]", *(f"force {a} [N]" for a in AXES)]
    head += [*(f"torque {a} [N m]" for a in AXES), "magnetic energy [J]"]
    columns = [curve.distance, curve.gap, curve.force, curve.torque, curve.energy]
    for j in _felt(curve):
        head += [f"force {a} from {bodies[j]} [N]" for a in AXES]
        head += [f"torque {a} from {bodies[j]} [N m]" for a in AXES]
        columns.append(curve.felt[:, j])  # type: ignore[index]
    return _csv(head, np.column_stack(columns))


def map_csv(found: ForceMap) -> str:
    """Return the whole map as CSV, a row a place."""
    i, j = found.axes
    head = [f"moved {AXES[i]} [m]", f"moved {AXES[j]} [m]"]
    head += [*(f"force {a} [N]" for a in AXES), "magnetic energy [J]"]
    u, v = np.meshgrid(found.u, found.v)
    force = found.force.reshape(-1, 3)
    rows = np.column_stack([u.ravel(), v.ravel(), force, found.energy.ravel()])
    return _csv(head, rows)


def _csv(head: list[str], rows: np.ndarray[Any, Any]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow(["" if np.isnan(x) else repr(number(x)) for x in row])
    return out.getvalue()
