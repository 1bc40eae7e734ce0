"""The point of no return against one key of the scene: tilts in degrees, displacements in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle
from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, MARKERS, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL = 3.6
"""Height of one panel [inch]."""


@dataclass(frozen=True)
class Branch:
    """One way over the values: `limit` and `error` (k,) in deg or mm, NaN where none was found;
    `snaps` (k,) where the part snaps as it is and the limit is the way back."""

    name: str
    tilt: bool
    limit: Array
    error: Array
    snaps: Array


def continuation_plot(values: Array, label: str, branches: Sequence[Branch], title: str) -> Plot:
    """Limits of every way against the key's values (k,); filled marks: ahead, open ones: back."""
    panels = [
        (unit, found)
        for unit, tilt in (("turned by [deg]", True), ("moved by [mm]", False))
        if (found := [b for b in branches if b.tilt is tilt and np.isfinite(b.limit).any()])
    ]

    def draw(figure: Figure, paper: Paper) -> None:
        axes = figure.subplots(max(1, len(panels)), 1, sharex=True, squeeze=False)[:, 0]
        entitle(axes[0], title)
        for axis, (unit, found) in zip(axes, panels, strict=False):
            _panel(axis, paper, values, found)
            axis.set_ylabel(unit)
            axis.set_ylim(bottom=0)
            axis.legend(loc="best")
        if not panels:
            axes[0].text(
                0.5, 0.5, "no snap found on these ways as far as they were followed",
                ha="center", va="center", transform=axes[0].transAxes,
            )  # fmt: skip
        axes[-1].set_xlabel(label)
        axes[-1].set_xlim(float(values.min()), float(values.max()))

    return Plot(0.9 + PANEL * max(1, len(panels)), draw)


def _panel(axis: Axes, paper: Paper, values: Array, found: Sequence[Branch]) -> None:
    for branch, colour, dash, marker in zip(
        found, cycle(paper.series), cycle(DASHES), cycle(MARKERS), strict=False
    ):
        label = f"snaps beyond: {branch.name}"
        for back in (False, True):
            here = np.isfinite(branch.limit) & (branch.snaps.astype(bool) == back)
            if not here.any():
                continue
            axis.errorbar(
                values[here], branch.limit[here], branch.error[here], color=colour, ls=dash,
                marker=marker, ms=7, mfc=paper.page if back else colour, capsize=4,
                label=f"safe again {branch.name}" if back else label,
            )  # fmt: skip
