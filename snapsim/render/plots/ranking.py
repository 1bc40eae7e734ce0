"""Plots of a hazard table: chances with their intervals, energies against limits, inputs."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np

from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, MARKERS, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Interval = tuple[float, float, float]
"""A value, the low and the high end of its interval."""


def chance_plot(names: Sequence[str], series: dict[str, list[Interval | None]]) -> Plot:
    """Chance of each flag, with its interval, one line of points a name."""
    height = 2.0 + 0.55 * len(names)
    return Plot(height, lambda figure, paper: _chances(figure, paper, names, series))


def _chances(
    figure: Figure, paper: Paper, names: Sequence[str], series: dict[str, list[Interval | None]]
) -> None:
    axes = figure.subplots()
    step = 0.6 / max(1, len(series))
    for k, (flag, values) in enumerate(series.items()):
        style = k % len(MARKERS)
        known = [(i, v) for i, v in enumerate(values) if v is not None]
        y = [i + (k - (len(series) - 1) / 2) * step for i, _ in known]
        x = [100 * v[0] for _, v in known]
        bars = [[100 * (v[0] - v[1]) for _, v in known], [100 * (v[2] - v[0]) for _, v in known]]
        axes.errorbar(
            x, y, xerr=np.clip(bars, 0, None), fmt=MARKERS[style], capsize=4,
            color=paper.series[style], label=flag.replace("_", " "),
        )  # fmt: skip
    axes.set_yticks(range(len(names)), [shorten(n, 28) for n in names])
    axes.set(xlim=(-3, 103), ylim=(len(names) - 0.4, -0.6), xlabel="chance [%], 95 % interval")
    entitle(axes, "What happens, and how often")
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))


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
            label=shorten(name, 30),
        )  # fmt: skip
    for value, names in _grouped(limits):
        axes.text(
            value, 3, names, rotation=90, fontsize=9, color=paper.warn, ha="right", va="bottom"
        )
    for value in limits.values():
        axes.axvline(value, color=paper.warn, lw=1.4, ls=DASHES[2])
    axes.set(xscale="log", ylim=(0, 101))
    axes.set(xlabel="effective energy of the worst blow [J]", ylabel="runs above it [%]")
    if len(series) > 1:
        axes.legend(loc="best")


def _grouped(limits: dict[str, float]) -> list[tuple[float, str]]:
    """Limits that would stand on each other share a place: (value, their names, line by line)."""
    found: list[tuple[float, str]] = []
    for name, value in sorted(limits.items(), key=lambda item: item[1]):
        if found and value < 1.6 * found[-1][0]:
            found[-1] = found[-1][0], f"{found[-1][1]}\n{name}"
        else:
            found.append((value, name))
    return found


def input_plot(keys: Sequence[str], values: Sequence[Interval], label: str, title: str) -> Plot:
    """What each input weighs, with its error, the heaviest on top."""
    height = 1.9 + 0.42 * len(keys)
    return Plot(height, lambda figure, paper: _inputs(figure, paper, keys, values, label, title))


def _inputs(
    figure: Figure,
    paper: Paper,
    keys: Sequence[str],
    values: Sequence[Interval],
    label: str,
    title: str,
) -> None:
    axes = figure.subplots()
    y = np.arange(len(keys))
    middle = [v[0] for v in values]
    bars = np.clip([[v[0] - v[1] for v in values], [v[2] - v[0] for v in values]], 0, None)
    axes.barh(y, middle, xerr=bars, color=paper.series[0], ecolor=paper.warn, capsize=4, height=0.6)
    axes.axvline(0, color=paper.soft, lw=1)
    axes.set_yticks(y, [shorten(k, 40) for k in keys])
    axes.tick_params(axis="y", labelsize=9.5)
    axes.set(ylim=(len(keys) - 0.4, -0.6), xlabel=label)
    entitle(axes, title)
