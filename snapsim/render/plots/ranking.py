"""Plot of a hazard table: energies against limits."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import NullFormatter

from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def exceedance_plot(series: dict[str, Sequence[float]], limits: dict[str, float]) -> Plot:
    """Share of runs above each effective energy [J], with limits [J] as upright lines."""
    return Plot(4.4, lambda figure, paper: _exceedance(figure, paper, series, limits))


def _exceedance(
    figure: Figure, paper: Paper, series: dict[str, Sequence[float]], limits: dict[str, float]
) -> None:
    axes = figure.subplots()
    for k, (name, values) in enumerate(series.items()):
        x = np.sort(np.maximum(np.asarray(values, dtype=float), 1e-6))
        share = 100 * (1 - np.arange(len(x)) / len(x))
        axes.step(
            x, share, where="pre", color=paper.series[k % 4], ls=DASHES[k % 4],
            label=shorten(name, 26),
        )  # fmt: skip
    for value, names in _grouped(limits):
        axes.text(
            value, 3, names, rotation=90, fontsize=9, color=paper.warn, ha="right", va="bottom"
        )
    for value in limits.values():
        axes.axvline(value, color=paper.warn, lw=1.4, ls=DASHES[2])
    axes.set(xscale="log", ylim=(0, 101))
    axes.xaxis.set_major_formatter("{x:g}")
    axes.xaxis.set_minor_formatter(NullFormatter())  # over little more than one power they overlap
    if limits:  # room for the names at the leftmost
        axes.set_xlim(left=min(axes.get_xlim()[0], 0.4 * min(limits.values())))
    axes.set(xlabel="effective energy of the worst blow [J]", ylabel="runs above it [%]")
    if len(series) > 1:
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.01), ncols=2, frameon=False)


def _grouped(limits: dict[str, float]) -> list[tuple[float, str]]:
    """Limits that would stand on each other share a place: (value, their names, line by line)."""
    found: list[tuple[float, str]] = []
    for name, value in sorted(limits.items(), key=lambda item: item[1]):
        if found and value < 1.6 * found[-1][0]:
            found[-1] = found[-1][0], f"{found[-1][1]}\n{name}"
        else:
            found.append((value, name))
    return found
