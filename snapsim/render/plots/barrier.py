"""The way over the pass: the part at rest, at the pass and beyond, and the energy on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.place import Place, difference, length, metric
from snapsim.numerics import rotations
from snapsim.render.plots.cut import FINENESS, CutPlane, draw_outlines, loops
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from snapsim.landscape.margin import Barrier, Margin
    from snapsim.parts.bodies import Body

HEIGHT = 7.2


def barrier_plot(report: Margin, barrier: Barrier, title: str) -> Plot:
    """The poses in their plane above, energy over the rest [J] along the way [mm] below."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, report, barrier, title))


def _draw(figure: Figure, paper: Paper, report: Margin, barrier: Barrier, title: str) -> None:
    above, below = figure.subplots(2, 1, height_ratios=(1.25, 1))
    _poses(above, paper, report, barrier)
    entitle(above, title)
    _energy(below, paper, report, barrier)


def _poses(axes: Axes, paper: Paper, report: Margin, barrier: Barrier) -> None:
    """The rig cut by the plane in which the part moves; the part whole, three times."""
    system, part = report.system, report.system.bodies[report.body]
    plane = _plane(barrier)
    pose, around = system.start.pose, []
    for k, body in enumerate(system.bodies):
        if k == report.body:
            continue
        outlines = loops(body, pose.position[k], pose.quaternion[k], plane)
        draw_outlines(axes, outlines, paper.rule if body.is_magnet else None, paper.soft)
        if body.is_magnet:
            around += [1e3 * loop for loop in outlines]
    stances = (
        (barrier.top.places[-1], paper.series[2], "on its way"),
        (barrier.rest, paper.series[0], "rest"),
        (barrier.top.place, paper.warn, "pass"),
    )
    for place, edge, name in stances:
        around.append(_silhouette(axes, paper, part, place, plane, edge))
        axes.plot([], [], color=edge, lw=2.4, label=name)
    _frame(axes, np.concatenate(around), plane)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))


def _silhouette(
    axes: Axes, paper: Paper, part: Body, place: Place, plane: CutPlane, edge: str
) -> Array:
    """Draw the part as seen across the plane; return its points [mm]."""
    from matplotlib.collections import PolyCollection

    drawn, triangles = part.shape.surface(FINENESS)
    world = place.position + rotations.rotate(place.quaternion[None], drawn)
    points: Array = 1e3 * world[:, [plane.first, plane.second]]
    seen = list(points[triangles])
    rim = PolyCollection(seen, facecolor=edge, edgecolor=edge, lw=4.0, zorder=5)
    inside = PolyCollection(seen, facecolor=paper.iron, edgecolor=paper.iron, lw=0.6, zorder=5)
    for collection in (rim, inside):
        axes.add_collection(collection)
    return points


def _frame(axes: Axes, points: Array, plane: CutPlane) -> None:
    """Look at where the part is, with room round it."""
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.06 * float((high - low).max())
    axes.set(
        xlim=(low[0] - room, high[0] + room), ylim=(low[1] - room, high[1] + room), aspect="equal"
    )
    names = "xyz"
    axes.set(xlabel=f"{names[plane.first]} [mm]", ylabel=f"{names[plane.second]} [mm]")
    axes.grid(visible=False)


def _plane(barrier: Barrier) -> CutPlane:
    """The upright plane through the part across the axis that it turns most about."""
    rest, top = barrier.rest, barrier.top.place
    move = difference(top, rest)
    about_x = abs(move[3]) > abs(move[4]) or (
        abs(move[3]) == abs(move[4]) and abs(move[1]) > abs(move[0])
    )
    first = 1 if about_x else 0
    return CutPlane(0.5 * (rest.position + top.position), first, 2)


def _energy(axes: Axes, paper: Paper, report: Margin, barrier: Barrier) -> None:
    path = barrier.top
    body = report.system.bodies[report.body]
    steps = [
        length(difference(b, a), metric(body, a))
        for a, b in zip(path.places[:-1], path.places[1:], strict=True)
    ]
    far = 1e3 * np.concatenate([[0.0], np.cumsum(steps)])
    energy = path.energy - path.energy[0]
    top = int(np.argmax(energy))
    axes.plot(far, energy, color=paper.series[0], marker="o", ms=4)
    axes.axhline(0, color=paper.soft, lw=1.2, ls=DASHES[2])
    axes.plot(far[top], energy[top], "^", ms=12, color=paper.warn, zorder=6)
    most = "" if path.converged else "at most "
    said = f"{most}{barrier.energy.value:.2g} J\na nudge of {barrier.nudge:.2g} m/s"
    axes.annotate(
        said, (far[top], energy[top]), xytext=(0, 12), textcoords="offset points", ha="center",
        color=paper.ink, weight="bold", size=11.5,
    )  # fmt: skip
    axes.margins(y=0.45)
    axes.set(xlabel="way of the part, turning included [mm]", ylabel="energy over its rest [J]")
