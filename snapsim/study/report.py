"""The hazard table as one HTML page: nothing is fetched, plots are SVG inside the page."""

from __future__ import annotations

import base64
import tempfile
from html import escape
from pathlib import Path
from typing import Any

from snapsim.analysis.stray_field import stray_lines
from snapsim.render.plots import (
    Plot,
    PlotOptions,
    chance_plot,
    exceedance_plot,
    input_plot,
    save,
)

_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 system-ui, sans-serif; color: #16212A; background: #FFFDF8;
       max-width: 72rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.25rem; margin-top: 2.2rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: 0.92rem; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem;
         border-bottom: 1px solid #D9DDD8; }
td.n { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
.beyond { color: #8C1D40; font-weight: 600; }
.caution { border-left: 6px solid #8C1D40; padding: .6rem 1rem; background: #F7EEF0; }
img { max-width: 100%; height: auto; } .soft { color: #4C5B66; font-size: .9rem; }
"""

_NAMES = {
    "impact_energy_J": ("kinetic energy of the worst blow", "J"),
    "effective_energy_J": ("effective energy of the worst blow", "J"),
    "speed_m_s": ("closing speed of the fastest blow", "m/s"),
    "clamp_force_N": ("pull that holds a part at a magnet where the run ends", "N"),
    "peak_force_N": ("peak force of a blow, upper bound", "N"),
    "closed_25mm_s": ("time until a gap to a magnet has closed to 25 mm", "s"),
    "closed_100mm_s": ("time until a gap to a magnet has closed to 100 mm", "s"),
    "string_load_N": ("load of a string", "N"),
    "fixed_load_N": ("sustained load of a fixed body", "N"),
    "edge_stress": ("stress at a magnet's edge, share of its strength, upper bound", "1"),
}


def report(result: dict[str, Any]) -> str:
    """Return the page for what `ranking.rank` gave."""
    rows = result["rows"]
    cautions = "".join(f"<p>{escape(c)}</p>" for c in result["cautions"])
    parts = [
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>",
        "<meta name='viewport' content='width=device-width, initial-scale=1'>",
        f"<title>snapsim: hazard table</title><style>{_STYLE}</style></head><body>",
        "<h1>What may happen, how often, how hard</h1>",
        f"<div class='caution'>{cautions}</div>",
        f"<p>In order of: {escape(result['order'])}. Intervals are 95 % (Wilson).</p>",
        _overview(rows),
        _picture(_chances(rows), "Chances with their intervals"),
        _picture(_energies(rows), "Share of runs above an effective energy, with limits"),
        *(_one(row) for row in rows),
        f"<div class='caution'>{cautions}</div></body></html>",
    ]
    return "\n".join(parts) + "\n"


def _overview(rows: list[dict[str, Any]]) -> str:
    head = ("setup", "runs", "snap", "magnet struck", "pinch", "energy, 95 %", "change first")
    body = []
    for row in rows:
        inputs = row["inputs"]["inputs"]
        energy = row["measures"].get("effective_energy_J")
        cells = [
            _text(_called(row)),
            _number(", ".join(f"{n} {k}" for k, n in row["statuses"].items())),
            *(_number(_share(row["chances"].get(f))) for f in ("snap", "magnet_struck", "pinch")),
            _number(f"{energy['p95']:.3g} J" if energy else "-"),
            _text(inputs[0]["key"] if inputs else "-"),
        ]
        body.append(f"<tr>{''.join(cells)}</tr>")
    return _table(head, body)


def _one(row: dict[str, Any]) -> str:
    inputs = row["inputs"]
    return "\n".join(
        [
            f"<h2>{escape(_called(row))}</h2>",
            f"<p class='soft'>{escape(row['scene'])}, {row['runs']} runs;"
            f" {escape(row['program'])}</p>",
            _measures(row),
            _hands(row),
            _limits(row),
            _stray(row),
            _picture(_weights(inputs), "What each input weighs") if inputs["inputs"] else "",
        ]
    )


def _measures(row: dict[str, Any]) -> str:
    body = []
    for key, q in row["measures"].items():
        name, unit = _NAMES[key]
        cells = "".join(_number(_quantity(q[k], unit)) for k in ("median", "p95", "worst"))
        body.append(f"<tr>{_text(name)}{cells}{_number(str(q['of']))}</tr>")
    return _table(("of the runs that have it", "median", "1 in 20 worse", "worst", "runs"), body)


def _hands(row: dict[str, Any]) -> str:
    if not row["hands"]:
        return "<p class='soft'>The scene marks no place of a hand ([[hand]]).</p>"
    body = [
        f"<tr>{_text(name)}{_number(_millimetres(h['gap_m']))}{_number(_share(h['closes']))}"
        f"{_number(_share(h['before_reaction']))}</tr>"
        for name, h in row["hands"].items()
    ]
    return _table(("hand at", "gap", "gap closes", "faster than 0.2 s of reaction"), body)


def _limits(row: dict[str, Any]) -> str:
    body = []
    for limit in row["limits"]:
        sign = "at most" if limit["side"] == "most" else "at least"
        mark = " class='beyond'" if limit["exceeded_in"] else ""
        bound = f"{sign} {_quantity(limit['bound'], limit['unit'])}"
        source = f"{limit['standard']}, {limit['edition']}; {limit['clause']}"
        body.append(
            f"<tr>{_text(limit['name'])}{_number(bound)}"
            f"<td{mark}>{escape(limit['says'])}</td>"
            f"<td>{escape(source)}<br><span class='soft'>{escape(limit['known'])};"
            f" {escape(limit['protects'])}</span></td></tr>"
        )
    return _table(("limit", "value", "in these runs", "source, and what it is about"), body)


def _stray(row: dict[str, Any]) -> str:
    if not row["stray_field"]:
        return ""
    lines = "".join(f"<li>{escape(line)}</li>" for line in stray_lines(row["stray_field"]))
    return f"<p>Stray field of the scene as written:</p><ul>{lines}</ul>"


def _chances(rows: list[dict[str, Any]]) -> Plot:
    flags = list(dict.fromkeys(f for row in rows for f in row["chances"]))
    series = {
        f: [
            (c["chance"], c["low"], c["high"])
            if (c := row["chances"].get(f)) and c["chance"] is not None
            else None
            for row in rows
        ]
        for f in flags
    }
    return chance_plot([_called(r) for r in rows], series)


def _energies(rows: list[dict[str, Any]]) -> Plot:
    series = {_called(r): r["energies_J"] for r in rows[:4] if r["energies_J"]}
    limits = {
        f"{x['standard']}, {x['bound']:g} J": x["bound"]
        for x in rows[0]["limits"]
        if x["measure"] == "effective_energy_J"
    }
    return exceedance_plot(series, limits)


def _weights(inputs: dict[str, Any]) -> Plot:
    keys = [i["key"] for i in inputs["inputs"]]
    if "total" in inputs["inputs"][0]:
        values = [
            (i["total"], i["total"] - 2 * i["total_error"], i["total"] + 2 * i["total_error"])
            for i in inputs["inputs"]
        ]
        label = "total Sobol index, with two standard errors"
    else:
        values = [(i["correlation"],) * 3 for i in inputs["inputs"]]
        label = "rank correlation with the effective energy"
    return input_plot(keys, values, label, "Which input matters")


def _picture(plot: Plot, about: str) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plot.svg"
        save(path, plot, PlotOptions(), ".svg")
        data = base64.b64encode(path.read_bytes()).decode()
    return f"<p><img alt='{escape(about)}' src='data:image/svg+xml;base64,{data}'></p>"


def _called(row: dict[str, Any]) -> str:
    name: str = row["study"] if row["setup"] == "as given" else row["setup"]
    return name


def _share(chance: dict[str, Any] | None) -> str:
    if not chance or chance["chance"] is None:
        return "-"
    low, high = 100 * chance["low"], 100 * chance["high"]
    return f"{100 * chance['chance']:.0f} % ({low:.0f} to {high:.0f})"


def _quantity(value: float, unit: str) -> str:
    """Three figures and the unit; thousands in full, not as powers of ten."""
    shown = f"{value:.3g}" if abs(value) < 1000 else f"{float(f'{value:.3g}'):,.0f}"
    return shown if unit == "1" else f"{shown} {unit}"


def _millimetres(length: float) -> str:
    return f"{1e3 * length:g} mm"


def _table(head: tuple[str, ...], body: list[str]) -> str:
    top = "".join(f"<th>{escape(h)}</th>" for h in head)
    return f"<div class='scroll'><table><tr>{top}</tr>{''.join(body)}</table></div>"


def _text(text: str) -> str:
    return f"<td>{escape(text)}</td>"


def _number(text: str) -> str:
    return f"<td class='n'>{escape(text)}</td>"
