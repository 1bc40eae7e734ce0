"""Force on a part over a plane of its positions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.curves import ForceMap
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import Paper, entitle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEIGHT = 5.0
NAMES = "xyz"
ARROWS = 13


def map_plot(found: ForceMap, origin: tuple[float, float], title: str) -> Plot:
    """Size of the magnetic force [N] in colour (log scale), its direction in the plane as arrows.

    `origin` (2,) [m]: the part's present position; blank where it would overlap something.
    """
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, found, origin, title))


def _draw(
    figure: Figure, paper: Paper, found: ForceMap, origin: tuple[float, float], title: str
) -> None:
    from matplotlib.colors import LogNorm

    axes = figure.subplots()
    i, j = found.axes
    u, v = 1e3 * (origin[0] + found.u), 1e3 * (origin[1] + found.v)
    size = np.linalg.norm(found.force, axis=2)
    some = size[np.isfinite(size) & (size > 0)]
    low, high = (some.min(), some.max()) if len(some) else (1.0, 10.0)
    picture = axes.pcolormesh(
        u, v, np.ma.masked_invalid(size), cmap="cividis", norm=LogNorm(max(low, 1e-3 * high), high),
        shading="nearest", rasterized=True,
    )  # fmt: skip
    figure.colorbar(picture, ax=axes, label="magnetic force [N]", shrink=0.9)
    a, b = (slice(None, None, max(1, n // ARROWS)) for n in (len(u), len(v)))
    way = found.force[b, a][:, :, [i, j]] / size[b, a][:, :, None]
    axes.quiver(
        u[a], v[b], way[:, :, 0], way[:, :, 1], color="white", edgecolor="black", linewidth=0.5,
        pivot="mid", scale=1.5 * ARROWS, width=0.006,
    )  # fmt: skip
    axes.plot(1e3 * origin[0], 1e3 * origin[1], "o", ms=11, mfc=paper.page, mec=paper.ink, mew=2.2)
    axes.grid(visible=False)
    axes.set_aspect("equal")
    axes.set(xlabel=f"{NAMES[i]} of its centre [mm]", ylabel=f"{NAMES[j]} [mm]")
    entitle(axes, title)
