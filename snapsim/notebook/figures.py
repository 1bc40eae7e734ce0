"""Figures to be shown or changed further: matplotlib's, in the look of `snapsim plot`."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.figure import Figure

from snapsim.errors import InputError
from snapsim.landscape.fate_map import FateMap
from snapsim.landscape.look_around import AlongLine, OverPlane
from snapsim.landscape.margin import Margin
from snapsim.render.plots import (
    Plot,
    barrier_plot,
    distance_plot,
    fate_plot,
    map_plot,
    run_plot,
    style_named,
)
from snapsim.render.plots.figure import figure_of
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

DRAWN = "a run, a margin, a force along a line or over a plane, or a fate map"


class ShownFigure(Figure):
    """A figure that a notebook shows by itself, whether or not pyplot was imported."""

    def _repr_png_(self) -> bytes:
        picture = io.BytesIO()
        self.savefig(picture, format="png", dpi=110)
        return picture.getvalue()


def plot(result: object, scene: System | None = None, style: str = "light") -> Figure:
    """Return a result as a matplotlib Figure, on a "light" or "dark" page; shown by notebooks.

    A force along a line or over a plane needs its `scene` beside it. Raises InputError for what has
    no plot, with what has.
    """
    return figure_of(_plot_of(result, scene), style_named(style), ShownFigure)


def _plot_of(result: Any, scene: System | None) -> Plot:
    if isinstance(result, Trajectory):
        return run_plot(result)
    if isinstance(result, Margin):
        if result.barrier is None:
            raise InputError("no pass to a magnet was found: nothing to draw", key="margin")
        return barrier_plot(result, result.barrier, "over the pass to the magnet")
    if isinstance(result, AlongLine | OverPlane):
        return _of_line_or_plane(result, scene)
    if isinstance(result, FateMap):
        return fate_plot(result, f"{result.body}: what becomes of it ({result.detail} cells)")
    raise InputError(f"{type(result).__name__} has no plot; what has: {DRAWN}", key="plot")


def _of_line_or_plane(result: AlongLine | OverPlane, scene: System | None) -> Plot:
    if scene is None:
        raise InputError("a force along a line or over a plane needs its scene", key="scene")
    number = scene.number(result.body)
    if isinstance(result, AlongLine):
        weight = scene.bodies[number].mass * float((scene.gravity @ scene.gravity) ** 0.5)
        return distance_plot(result.curve, weight, f"{result.body}: force along the line")
    across, upward = result.curve.axes
    at = scene.start.pose.position[number]
    return map_plot(result.curve, (float(at[across]), float(at[upward])), f"{result.body}: pull")
