"""Fates over two parameters: the JSON object, the CSV rows and the table of `fate`."""

from __future__ import annotations

import csv
import io
from collections import Counter
from typing import TYPE_CHECKING, Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, plain
from snapsim.analysis.tables import cautions
from snapsim.simulation.fate import FateKind
from snapsim.words.accuracy import percent
from snapsim.words.fates import fate_answer, fate_reason

if TYPE_CHECKING:  # importing it loads the compiled magnetics
    from snapsim.landscape.fate_map import Axis, FateMap

LIMITS = (
    "Each point is one release, let go at rest, of the scene as described; material, friction and"
    " hands vary, and so does the boundary: it is no safe distance.",
    "A region narrower than a cell of the first grid can be missed.",
)
DRAFT = (
    'Computed with "draft" cells: forces are mostly too small, by 1 to 6 %, within a cell of a'
    " magnet's edge by up to two thirds, so snaps"
    ' begin earlier than drawn; where the boundary lies with "normal" cells stands under spots.'
)


def fate_summary(found: FateMap) -> dict[str, Any]:
    """Return what `snapsim fate --json` prints, without the points (those are in the CSV)."""
    counts = Counter(f.kind for f in found.fates)
    return {
        "title": found.title,
        "answer": fate_answer(found),
        "body": found.body,
        "first": _axis(found.first),
        "second": _axis(found.second),
        "releases": len(found.fates),
        "fates": dict(sorted(counts.items())),
        **_snap_energies(found),
        "boundaries": [
            {"between": list(b.between), "line": [[number(x) for x in p] for p in b.line]}
            for b in found.boundaries
        ],
        "boundary_refined": found.whole,
        "unrefined_cells": len(found.unrefined),
        "spots": [
            {
                "second": number(s.second),
                "boundary": number(s.drawn),
                f"boundary_{s.detail}": None if s.found is None else number(s.found),
            }
            for s in found.spots
        ],
        "accuracy": {"detail": found.detail, "boundary_step": number(found.first.step)},
        "limits": [*LIMITS, *([DRAFT] if found.detail == "draft" else [])],
        "cautions": list(CAUTIONS),
    }


def _snap_energies(found: FateMap) -> dict[str, Any]:
    snaps = [f for f in found.fates if f.kind == FateKind.SNAPS]
    energies = [f.energy for f in snaps]
    return {
        "snap_energy_J": [number(min(energies)), number(max(energies))] if energies else None,
        "snap_energy_low_by_up_to": max((f.low_by for f in snaps), default=None),
    }


def fate_points(found: FateMap) -> list[dict[str, Any]]:
    """Return one object a release, in order of the parameters."""
    return [
        {
            "first": number(p[0]),
            "second": number(p[1]),
            "fate": f.kind,
            "struck": f.struck or None,
            "kinetic_energy_J": number(f.energy),
            "closing_speed_m_s": number(f.speed),
            "time_s": number(f.time) if f.struck else None,
            "simulated_s": number(f.lasted),
            "reason": fate_reason(f),
            "reason_code": None if f.ending is None else f.ending.reason,
            "kinetic_energy_low_by_up_to": number(f.low_by),
            "part": f.part or None,
        }
        for p, f in zip(found.point.tolist(), found.fates, strict=True)
    ]


def fate_csv(found: FateMap) -> str:
    """Return all points as CSV, units in the heading."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    heads = [axis_label(a) for a in (found.first, found.second)]
    units = ["fate", "struck", "kinetic energy [J]", "closing speed [m/s]", "time [s]"]
    writer.writerow(
        [*heads, *units, "simulated [s]", "reason", "reason code", "low by up to", "part"]
    )
    for row in fate_points(found):
        writer.writerow(["" if x is None else x for x in row.values()])
    return out.getvalue()


def axis_label(axis: Axis) -> str:
    """Return "key [unit]"."""
    return f"{axis.key} [{axis.unit}]" if axis.unit else axis.key


def fate_table(result: dict[str, Any]) -> RenderableType:
    """Return the tables of `fate` from its `fate_summary`."""
    table = Table("fate", title_justify="left")
    table.add_column("releases", justify="right")
    for kind, count in result["fates"].items():
        table.add_row(kind, str(count))
    parts: list[RenderableType] = [
        Text(result["answer"], style="bold" if result["boundary_refined"] else "bold red"),
        Text(f"{result['title']}: fate of {result['body']}"),
    ]
    parts += [table, Text("\n".join(_fate_lines(result)))]
    if result["spots"]:
        parts.append(_spots(result))
    return Group(*parts, Text("\n".join(result["limits"])), cautions())


def _fate_lines(result: dict[str, Any]) -> list[str]:
    """What was varied, how hard snaps strike, how closely boundaries are known."""
    first, second = result["first"], result["second"]
    lines = [
        " and ".join([a["key"], *a["along"]])
        + f" from {plain(a['low'])} to {plain(a['high'])} {a['unit']}"
        for a in (first, second)
    ]
    if result["snap_energy_J"]:
        low, high = result["snap_energy_J"]
        low_by = result["snap_energy_low_by_up_to"]
        more = f"; {percent(low_by)} more by what the cells may leave out" if low_by else ""
        lines.append(f"snaps strike with {plain(low)} to {plain(high)} J{more}")
    step = plain(result["accuracy"]["boundary_step"])
    if result["boundary_refined"]:
        lines.append(f"every boundary is bracketed to {step} {first['unit']}")
    else:
        lines.append(
            "boundaries are NOT fully refined: the limit on releases was reached; a snap may begin"
            f" anywhere in {result['unrefined_cells']} cells (dashed in the picture)"
        )
    return lines


def _spots(result: dict[str, Any]) -> RenderableType:
    first, second = result["first"], result["second"]
    table = Table(f"{second['key']} {second['unit']}", title_justify="left")
    for head in (f"boundary at draft, {first['unit']}", f"at normal, {first['unit']}"):
        table.add_column(head, justify="right")
    for spot in result["spots"]:
        again = spot["boundary_normal"]
        shown = "farther off" if again is None else plain(round(again, 4))
        table.add_row(plain(spot["second"]), plain(round(spot["boundary"], 4)), shown)
    return table


def _axis(axis: Axis) -> dict[str, Any]:
    return {
        "key": axis.key,
        "unit": axis.unit,
        "low": number(axis.low),
        "high": number(axis.high),
        "step": number(axis.step),
        "along": list(axis.along),
    }
