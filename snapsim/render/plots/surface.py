"""Energy over how far a part is tilted and how high it is lifted, as a surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.surface import EnergySurface
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import TITLE_WIDTH, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEIGHT = 6.0
DEPTH = 1.4
"""How far below the present pose the surface is drawn, over the height of its crest above it."""


def surface_plot(found: EnergySurface, title: str) -> Plot:
    """Energy above the present pose's [J] over tilt [deg] and lift [mm]; deep wells cut off."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, found, title))


def _draw(figure: Figure, paper: Paper, found: EnergySurface, title: str) -> None:
    from textwrap import wrap

    from mpl_toolkits.mplot3d.art3d import Poly3DCollection

    axes: Any = figure.add_subplot(projection="3d")
    turned, lifted = np.meshgrid(np.degrees(found.angle), 1e3 * found.rise)
    crest = max(float(np.nanmax(found.energy)), 1e-9)
    floor = -DEPTH * crest
    shown = np.maximum(found.energy, floor)
    patches = _patches(np.stack([turned, lifted, shown], axis=-1))
    skin = Poly3DCollection(
        patches, array=patches[..., 2].mean(axis=1), cmap="cividis", linewidth=0.3,
        edgecolor=paper.soft, antialiased=True, clim=(floor, crest),
    )  # fmt: skip
    axes.add_collection3d(skin, autolim=True)
    axes.plot(
        [0], [0], [0.03 * crest], "o", ms=11, mfc=paper.page, mec=paper.ink, mew=2.2, zorder=9
    )
    axes.text(0, 0, 0.3 * crest, "now", color=paper.ink, weight="bold", size=12, zorder=10)
    axes.set_zlim(floor, 1.05 * crest)
    _frame(axes, paper)
    figure.suptitle(
        "\n".join(wrap(title, TITLE_WIDTH)), x=0.01, ha="left", weight="bold", size=13.5
    )
    if np.nanmin(found.energy) < floor:
        figure.text(
            0.01, 0.79, "cut off below: there it falls\nto the magnet", size=11.5,
            color=paper.warn, weight="bold",
        )  # fmt: skip


def _patches(points: Array) -> Array:
    """Return the four corners (n, 4, 3) of each patch between `points` (b, a, 3) of which three
    or more are there (not NaN); one that is not there is the corner before it again. Patches of
    unlike numbers of corners would be padded by the plotting library with memory that nobody set.
    """
    ring = [points[:-1, :-1], points[:-1, 1:], points[1:, 1:], points[1:, :-1]]
    corners = np.stack([r.reshape(-1, 3) for r in ring], axis=1)
    there = np.all(np.isfinite(corners), axis=2)
    enough = np.flatnonzero(np.sum(there, axis=1) > 2)
    whole: Array = np.where(np.expand_dims(there, 2), corners, np.roll(corners, 1, axis=1))
    return whole[enough]


def _frame(axes: Any, paper: Paper) -> None:
    """What the axes are, and from where they are seen."""
    axes.set_xlabel("turned by [deg]", labelpad=8)
    axes.set_ylabel("lifted by [mm]", labelpad=8)
    axes.set_zlabel("energy [J]", labelpad=6)
    axes.view_init(elev=30, azim=-38)
    for pane in (axes.xaxis, axes.yaxis, axes.zaxis):
        pane.set_pane_color(paper.page)
