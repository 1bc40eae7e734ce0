"""Pull against weight over the gap, with the gap at which a part lifts off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.pull_curve import PullCurve
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT = 4.8


def pull_plot(curve: PullCurve, title: str) -> Plot:
    """Upward pull and weight [N], both in log scale, over the gap [mm]; lift-off in words."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, curve, title))


def _draw(figure: Figure, paper: Paper, curve: PullCurve, title: str) -> None:
    axes = figure.subplots()
    gap = 1e3 * curve.gap
    upward = np.where(curve.pull > 0, curve.pull, np.nan)
    axes.plot(gap, upward, color=paper.series[0], label=f"pull of {curve.magnet}, upward")
    axes.axhline(curve.weight, color=paper.series[1], ls=DASHES[1], label="weight")
    axes.set(xscale="log", yscale="log", ylabel="force [N]")
    axes.set_xlabel(f"gap to {curve.magnet} [mm]")
    axes.set_xlim(gap[0], gap[-1])
    _ticks(axes)
    _lift_off(axes, paper, curve)
    now, pull = 1e3 * curve.now[0], curve.now[1]
    if gap[0] <= now <= gap[-1] and pull > 0:
        axes.plot(now, pull, "o", ms=11, mfc=paper.page, mec=paper.ink, mew=2.2, zorder=5)
        side = "right" if now > gap[0] * 3 else "left"
        axes.annotate(
            "now", (now, pull), xytext=(0, -22), textcoords="offset points", ha=side,
            color=paper.ink, size=11.5, weight="bold",
        )  # fmt: skip
    entitle(axes, title)
    figure.legend(loc="outside lower center", ncols=2)


def _lift_off(axes: Axes, paper: Paper, curve: PullCurve) -> None:
    """The gap at which it lifts itself, its bar shaded, and what lies on either side."""
    if curve.lift_off is None:
        above = bool(np.all(curve.pull > curve.weight))
        text = "lifts itself at every gap drawn" if above else "lifts itself at no gap drawn"
        axes.text(
            0.03, 0.04, text, transform=axes.transAxes, color=paper.warn, weight="bold", size=12
        )
        return
    at, bar = 1e3 * curve.lift_off.value, 1e3 * curve.lift_off.error
    axes.axvspan(max(at - bar, 1e-9), at + bar, color=paper.warn, alpha=0.25, lw=0)
    axes.axvline(at, color=paper.warn, lw=1.8)
    axes.text(
        0.03, 0.04, f"lifts itself nearer than\n{at:.3g} ± {bar:.2g} mm",
        transform=axes.transAxes, color=paper.warn, weight="bold", size=12,
    )  # fmt: skip


def _ticks(axes: Axes) -> None:
    """Plain numbers on both logarithmic axes."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(subs=(1, 2, 5), numticks=12))
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
        axis.set_minor_formatter(NullFormatter())
