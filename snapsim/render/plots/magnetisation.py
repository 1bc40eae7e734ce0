"""The magnetisation inside a part, cut open, in several stances side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.section import NEAR, PolarisationSection
from snapsim.render.plots.cut import CutPlane, draw_outlines, loops
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import Paper

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import QuadMesh
    from matplotlib.figure import Figure

    from snapsim.parts.bodies import Body
    from snapsim.simulation.system import System

HEIGHT = 4.2
ARROWS = 6


def magnetisation_plot(
    sections: dict[str, PolarisationSection], system: System, number: int
) -> Plot:
    """Polarisation [T] of body `number` in colour, its direction as arrows, the mean in words,
    other bodies as outlines; a panel a stance."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, sections, system, number))


def _draw(
    figure: Figure,
    paper: Paper,
    sections: dict[str, PolarisationSection],
    system: System,
    number: int,
) -> None:
    part = system.bodies[number]
    panels = np.atleast_1d(figure.subplots(1, len(sections)))
    reach = max(float(np.ptp(s.points[:, :, k])) for s in sections.values() for k in s.axes)
    peak = max(float(np.nanmax(np.linalg.norm(s.polarisation, axis=2))) for s in sections.values())
    limit = next(iter(sections.values())).limit
    for axes, (name, cut) in zip(panels, sections.items(), strict=True):
        picture = draw_cut(axes, paper, cut, (system, number), peak)
        _centre(axes, cut, 0.6 * reach)
        axes.set_title(name, loc="center")
        axes.set_xlabel(_in_words(cut), size=10.5, color=paper.ink)
    figure.colorbar(
        picture, ax=list(panels), label="polarisation [T]", location="bottom", shrink=0.7, pad=0.03,
        aspect=30,
    )  # fmt: skip
    figure.suptitle(
        f"{part.name}: magnetisation cut open (saturation {limit:.2f} T)\n",
        x=0.01,
        ha="left",
        weight="bold",
        size=13.5,
    )


def _centre(axes: Axes, cut: PolarisationSection, half: float) -> None:
    """Bring the part to the middle of a square of half a side [m]."""
    middle = 1e3 * cut.place.position[list(cut.axes)]
    axes.set_xlim(middle[0] - 1e3 * half, middle[0] + 1e3 * half)
    axes.set_ylim(middle[1] - 1e3 * half, middle[1] + 1e3 * half)


def draw_cut(
    axes: Axes, paper: Paper, cut: PolarisationSection, of: tuple[System, int], peak: float
) -> QuadMesh:
    """Draw a part (a system's body by number) cut open, and the rig round it; return what is
    coloured by the polarisation up to `peak` [T]."""
    system, number = of
    _others(axes, paper, cut, system, number)
    return _panel(axes, paper, cut, system.bodies[number], peak)


def _panel(axes: Axes, paper: Paper, cut: PolarisationSection, part: Body, peak: float) -> QuadMesh:
    i, j = cut.axes
    u, v = 1e3 * cut.points[0, :, i], 1e3 * cut.points[:, 0, j]
    size = np.linalg.norm(cut.polarisation, axis=2)
    picture = axes.pcolormesh(
        u, v, np.ma.masked_invalid(size), cmap="cividis", vmin=0, vmax=peak,
        shading="nearest", rasterized=True,
    )  # fmt: skip
    _arrows(axes, cut, size)
    plane = CutPlane(cut.place.position, i, j)
    outline = loops(part, cut.place.position, cut.place.quaternion, plane)
    draw_outlines(axes, outline, None, paper.ink)
    axes.set_aspect("equal")
    axes.grid(visible=False)
    axes.set(xticks=[], yticks=[])
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    return picture


def _others(
    axes: Axes, paper: Paper, cut: PolarisationSection, system: System, number: int
) -> None:
    """The rig round the part, cut by the same plane."""
    plane, pose = CutPlane(cut.place.position, *cut.axes), system.start.pose
    for k, body in enumerate(system.bodies):
        if k != number:
            outline = loops(body, pose.position[k], pose.quaternion[k], plane)
            draw_outlines(axes, outline, paper.rule if body.is_magnet else None, paper.soft)


def _arrows(axes: Axes, cut: PolarisationSection, size: Array) -> None:
    step = max(1, max(size.shape) // (2 * ARROWS))
    pick = (slice(step // 2, None, step), slice(step // 2, None, step))
    i, j = cut.axes
    way = cut.polarisation[pick] / np.maximum(size[pick], 1e-12)[:, :, None]
    axes.quiver(
        1e3 * cut.points[pick][:, :, i], 1e3 * cut.points[pick][:, :, j], way[:, :, i],
        way[:, :, j], color="white", edgecolor="black", linewidth=0.4, pivot="mid",
        scale=2.6 * ARROWS, width=0.016, headwidth=2.8, headlength=2.8, headaxislength=2.6,
        minshaft=1.4,
    )  # fmt: skip


def _in_words(cut: PolarisationSection) -> str:
    mean = f"mean {np.linalg.norm(cut.mean):.2f} T"
    if not np.isfinite(cut.saturated):
        return f"{mean}\n(linear material)"
    return f"{mean}\n{100 * cut.saturated:.0f} % of it above\n{100 * NEAR:.0f} % of saturation"
