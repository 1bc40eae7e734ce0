"""The hazard table as one HTML page: nothing is fetched, marks are HTML, the plot is SVG inside."""

from __future__ import annotations

import base64
import tempfile
from html import escape
from pathlib import Path
from typing import Any

from snapsim.render.plots import Plot, PlotOptions, exceedance_plot, save
from snapsim.study.report.marks import Ladder, chance_line, quantity
from snapsim.study.report.setup import bound_text, called, change_first, setup_section

AIM = "effective_energy_J"

SHOWN = 4
"""Setups whose energies are drawn as curves; more cannot be told apart."""


def report(result: dict[str, Any]) -> str:
    """Return the page for what `ranking.rank` gave."""
    rows = result["rows"]
    cautions = "".join(f"<p>{escape(c)}</p>" for c in result["cautions"])
    caution = f"<div class='caution'>{cautions}</div>"
    style = (Path(__file__).parent / "style.css").read_text(encoding="utf-8")
    parts = [
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>",
        "<meta name='viewport' content='width=device-width, initial-scale=1'>",
        f"<title>snapsim: hazard table</title><style>{style}</style></head><body><main>",
        _heading(rows),
        caution,
        _glance(rows, result["order"]),
        _energies(rows),
        *(setup_section(row, n) for n, row in enumerate(rows, 1)),
        _sources(rows),
        f"<section>{caution}</section></main></body></html>",
    ]
    return "\n".join(parts) + "\n"


def _heading(rows: list[dict[str, Any]]) -> str:
    runs = sum(row["runs"] for row in rows)
    return (
        "<div class='over'>snapsim · hazard table</div>"
        "<h1>What may happen, how often, how hard</h1>"
        f"<p class='soft'>{len(rows)} setup{'s' * (len(rows) != 1)}, {runs:,} releases computed"
        " with uncertain inputs. Chances are those of the spreads that were given, with 95 %"
        " intervals (Wilson); what was left out of them is not in these numbers.</p>"
    )


def _glance(rows: list[dict[str, Any]], order: str) -> str:
    lines = [
        f"<div class='line'><span class='place'>{n}</span>"
        f"<div><a class='name' href='#setup-{n}'>{escape(called(row))}</a>"
        f"<p class='soft'>{escape(_counted(row))}</p></div>"
        f"<div>{''.join(chance_line(f, c) for f, c in _judged(row))}</div>"
        f"<div class='first'><b>change first</b>{escape(change_first(row))}</div></div>"
        for n, row in enumerate(rows, 1)
    ]
    return (
        "<section><h2>How often</h2>"
        f"<p class='soft'>In order of: {escape(order)}.</p>{''.join(lines)}</section>"
    )


def _judged(row: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [(f, c) for f, c in row["chances"].items() if c["chance"] is not None]


def _counted(row: dict[str, Any]) -> str:
    counted = ", ".join(f"{n:,} {status}" for status, n in row["statuses"].items())
    missing = row["planned"] - row["runs"]
    return counted + (f"; {missing:,} not computed yet" if missing > 0 else "")


def _energies(rows: list[dict[str, Any]]) -> str:
    """All setups on one ladder of energy, with the limits across it."""
    known = [(called(r), r["measures"][AIM]) for r in rows if AIM in r["measures"]]
    if not known:
        return ""
    limits = sorted((x["bound"], x) for x in _limits(rows))
    bounds = [b for b, _ in limits]
    ladder = Ladder(
        [*bounds, *(q[k] for _, q in known for k in ("median", "worst") if q[k] > 1e-4)]
    )
    rungs = "".join(ladder.rung(name, q, bounds) for name, q in known)
    key = "".join(
        f"<li><b>{k}</b> {escape(x['standard'])}, {escape(quantity(b, 'J'))}:"
        f" {escape(x['name'])}</li>"
        for k, (b, x) in enumerate(limits, 1)
    )
    marks = (
        "<li><em class='m'></em>median</li><li><em class='n'></em>1 run in 20 is above</li>"
        "<li><em class='w'></em>worst run</li>"
    )
    return (
        "<section><h2>How hard</h2><p class='soft'>Effective energy of the hardest blow of each"
        " run, in joules; dashed: published limits. Below a limit is not safe.</p>"
        f"<div class='ladder'>{ladder.flags(bounds)}{rungs}{ladder.scale('J')}</div>"
        f"<ul class='key'>{marks}</ul><ul class='key'>{key}</ul>{_curves(rows)}</section>"
    )


def _sources(rows: list[dict[str, Any]]) -> str:
    """Where every limit comes from, each once."""
    every = {(x["standard"], x["name"]): x for row in rows for x in row["limits"]}
    lines = "".join(
        f"<div class='source'><b>{escape(x['name'])}</b>: {escape(bound_text(x))}."
        f" {escape(x['standard'])}, {escape(x['edition'])}; {escape(x['clause'])}."
        f" About: {escape(x['protects'])}. Value: {escape(x['known'])}.</div>"
        for x in every.values()
    )
    return (
        "<section><h2>Where the limits come from</h2><p class='soft'>The printed standard in its"
        " current edition decides; what says “from memory” was not looked up.</p>"
        f"{lines}</section>"
    )


def _limits(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Limits of energy, each once."""
    every = {
        (x["standard"], x["name"]): x for r in rows for x in r["limits"] if x["measure"] == AIM
    }
    return list(every.values())


def curves(rows: list[dict[str, Any]]) -> Plot | None:
    """Return the plot of the runs above an energy, first setups only; None where none struck."""
    series = {called(r): r["energies_J"] for r in rows if r["energies_J"]}
    bounds = {f"{x['standard']}, {x['bound']:g} J": x["bound"] for x in _limits(rows)}
    return exceedance_plot(dict(list(series.items())[:SHOWN]), bounds) if series else None


def _curves(rows: list[dict[str, Any]]) -> str:
    plot = curves(rows)
    if plot is None:
        return ""
    struck = sum(1 for r in rows if r["energies_J"])
    which = f", the first {SHOWN} setups" if struck > SHOWN else ""
    return f"<h3>Share of runs above an energy{which}</h3>{_picture(plot)}"


def _picture(plot: Plot) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plot.svg"
        save(path, plot, PlotOptions(), ".svg")
        data = base64.b64encode(path.read_bytes()).decode()
    about = "Share of runs above an effective energy, with limits"
    return f"<div class='plot'><img alt='{about}' src='data:image/svg+xml;base64,{data}'></div>"
