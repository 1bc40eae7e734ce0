"""Field lines without a part and with it, side by side, bodies cut by the plane of drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.landscape.field_picture import FieldPicture
from snapsim.magnetics.field_lines import FieldLine
from snapsim.render import palette
from snapsim.render.palette import look_of
from snapsim.render.plots.cut import CutPlane, draw_outlines, loops
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import Paper
from snapsim.simulation.system import System

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT = 4.5
NAMES = "xyz"
MAGNET_FACE = palette.NORTH


def field_plot(picture: FieldPicture, system: System, part: int) -> Plot:
    """Both panels, same frame; at the magnet the same flux (per length across) between lines."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, picture, system, part))


def _draw(figure: Figure, paper: Paper, picture: FieldPicture, system: System, part: int) -> None:
    panels = figure.subplots(1, 2, sharex=True, sharey=True)
    name = system.bodies[part].name
    for axes, lines, title, skip in (
        (panels[0], picture.without, f"without the {name}", part),
        (panels[1], picture.with_part, f"with the {name}", None),
    ):
        for line in lines:
            _line(axes, paper, line, picture)
        _bodies(axes, paper, system, picture, skip)
        axes.set_aspect("equal")
        axes.grid(visible=False)
        axes.set_title(title)
        axes.set_xlim(*(1e3 * np.array([picture.low[0], picture.high[0]])))
        axes.set_ylim(*(1e3 * np.array([picture.low[1], picture.high[1]])))
        axes.set_xlabel(f"{NAMES[picture.axes[0]]} [mm]")
    panels[0].set_ylabel(f"{NAMES[picture.axes[1]]} [mm]")


def _line(axes: Axes, paper: Paper, line: FieldLine, picture: FieldPicture) -> None:
    """One line, thin where the field is weak, with one arrow head where it enters or leaves."""
    from matplotlib.collections import LineCollection

    at = 1e3 * line.points[:, picture.axes]
    strongest = float(line.size.max())
    width = 0.5 + 2.1 * np.sqrt(line.size / strongest)
    pieces = np.stack([at[:-1], at[1:]], axis=1)
    axes.add_collection(
        LineCollection(
            list(pieces), linewidths=width[1:], colors=paper.series[0], capstyle="round", zorder=5
        )
    )
    low, high = 1e3 * picture.low, 1e3 * picture.high
    shown = np.flatnonzero(((at > low) & (at < high)).all(axis=1))
    k = int(shown[len(shown) // 3]) if len(shown) > 12 else 0
    if 2 <= k < len(at) - 2:
        axes.annotate(
            "", tuple(at[k + 2]), xytext=tuple(at[k - 2]), zorder=6,
            arrowprops={"arrowstyle": "-|>", "color": paper.series[0], "lw": 1.2},
        )  # fmt: skip


def _bodies(
    axes: Axes, paper: Paper, system: System, picture: FieldPicture, skip: int | None
) -> None:
    pose = system.start.pose
    plane_at = pose.position[next(i for i, b in enumerate(system.bodies) if not b.fixed)]
    for i, body in enumerate(system.bodies):
        if i == skip:
            continue
        plane = CutPlane(plane_at, *picture.axes)
        face = MAGNET_FACE if body.is_permanent else look_of(body.material).colour
        draw_outlines(
            axes, loops(body, pose.position[i], pose.quaternion[i], plane), face, paper.ink
        )
