"""A run in a few pictures: the part cut open at chosen moments, beside what it flies to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.film_strip import Still
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.magnetisation import draw_cut
from snapsim.render.plots.style import WIDTH, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = 2
ROOM = 0.08
"""Room round all that is drawn, over its width."""


def film_strip_plot(stills: Sequence[Still], number: int, title: str) -> Plot:
    """Polarisation [T] of body `number` in colour and arrows at each moment, all panels alike."""
    low, high = _window(stills)
    rows = -(-len(stills) // COLUMNS)
    shape = (high[1] - low[1]) / (high[0] - low[0])
    height = rows * (0.5 * WIDTH * 0.82 * shape + 0.55) + 1.3
    return Plot(
        min(height, 14.0),
        lambda figure, paper: _draw(figure, paper, stills, number, title, (low, high)),
    )


def _window(stills: Sequence[Still]) -> tuple[np.ndarray, np.ndarray]:
    """Corners (2,) [mm] of what holds the part in all pictures."""
    points = np.concatenate([s.cut.points.reshape(-1, 3)[:, list(s.cut.axes)] for s in stills])
    low, high = 1e3 * points.min(axis=0), 1e3 * points.max(axis=0)
    room = ROOM * float((high - low).max())
    return low - room, high + room


def _draw(
    figure: Figure,
    paper: Paper,
    stills: Sequence[Still],
    number: int,
    title: str,
    window: tuple[np.ndarray, np.ndarray],
) -> None:
    rows = -(-len(stills) // COLUMNS)
    panels = figure.subplots(rows, COLUMNS, squeeze=False).ravel()
    peak = max(float(np.nanmax(np.linalg.norm(s.cut.polarisation, axis=2))) for s in stills)
    low, high = window
    for axes, still in zip(panels, stills, strict=False):
        picture = draw_cut(axes, paper, still.cut, (still.system, number), peak)
        axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]))
        struck = f": meets {still.struck}" if still.struck else ""
        axes.set_title(f"{1e3 * still.time:.0f} ms{struck}", loc="left", size=12)
    for axes in panels[len(stills) :]:
        axes.set_axis_off()
    figure.colorbar(
        picture, ax=list(panels), label="polarisation [T]", location="bottom", shrink=0.7, pad=0.02,
        aspect=30,
    )  # fmt: skip
    figure.suptitle(f"{title}\n", x=0.01, ha="left", weight="bold", size=13.5)
