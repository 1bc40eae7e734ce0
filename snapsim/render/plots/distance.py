"""Force on a part against the distance it is moved by."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.curves import DistanceCurve
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEIGHT = 4.4


def distance_plot(curve: DistanceCurve, weight: float, title: str) -> Plot:
    """Force along the way (positive: pulls that way) and across it, and the weight [N]."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, curve, weight, title))


def _draw(figure: Figure, paper: Paper, curve: DistanceCurve, weight: float, title: str) -> None:
    axes = figure.subplots()
    far = 1e3 * curve.distance
    along = curve.force @ curve.direction
    across = np.linalg.norm(curve.force - along[:, None] * curve.direction, axis=1)
    axes.plot(far, along, color=paper.series[0], label="along the way")
    axes.plot(far, across, color=paper.series[1], ls=DASHES[1], label="across it")
    for sign in (1, -1):
        axes.axhline(
            sign * weight, color=paper.soft, ls=DASHES[2], lw=1.6,
            label="weight" if sign > 0 else None,
        )  # fmt: skip
    axes.set(xlabel="moved by [mm]", ylabel="magnetic force [N]")
    entitle(axes, title)
    axes.legend(loc="best")
