"""The hazard table as one HTML page: nothing is fetched, marks are HTML, the plot is SVG inside."""

from __future__ import annotations

import base64
import tempfile
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from snapsim.render.plots import Plot, PlotOptions, exceedance_plot, save
from snapsim.study.report.marks import Ladder
from snapsim.study.report.setup import called

AIM = "effective_energy_J"

SHOWN = 4
"""Setups whose energies are drawn as curves; more cannot be told apart."""


@dataclass(frozen=True)
class AboutReport:
    """What stands at the head of a report; `by` is who ran it, as far as they said."""

    title: str = ""
    by: str = ""
    date: str = ""
    versions: str = ""


def about_now(title: str = "", by: str = "") -> AboutReport:
    """Return the head of a report made today with this installation."""
    versions = f"snapsim {version('snapsim')}, numpy {version('numpy')}, scipy {version('scipy')}"
    return AboutReport(title, by, f"{datetime.now().astimezone():%Y-%m-%d %H:%M %Z}", versions)


def report(result: dict[str, Any], about: AboutReport | None = None) -> str:
    """Return the page for what `ranking.rank` gave."""
    from snapsim.study.report.pages import environment

    rows = result["rows"]
    limits = sorted(_limits(rows), key=lambda x: float(x["bound"]))
    known = [(called(r), r["measures"][AIM]) for r in rows if AIM in r["measures"]]
    plot = curves(rows)
    return (
        environment()
        .get_template("page.html")
        .render(
            rows=rows,
            about=about or about_now(),
            order=result["order"],
            cautions=result["cautions"],
            limits=limits,
            ladder=Ladder(known, [x["bound"] for x in limits]) if known else None,
            picture=_picture(plot) if plot else None,
            struck=sum(1 for r in rows if r["energies_J"]),
            shown=SHOWN,
            sources=_sources(rows),
        )
    )


def _sources(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Every limit, each once."""
    return list({(x["standard"], x["name"]): x for row in rows for x in row["limits"]}.values())


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


def _picture(plot: Plot) -> str:
    """The plot as SVG, in base64."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plot.svg"
        save(path, plot, PlotOptions(), ".svg")
        return base64.b64encode(path.read_bytes()).decode()
