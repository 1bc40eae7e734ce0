"""Force on a part against the distance it is moved by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.curves import DistanceCurve
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT, BELOW = 4.4, 3.4


@dataclass(frozen=True)
class Other:
    """What another body does to the part along the way: `attraction` (k,) [N] toward it."""

    name: str
    attraction: Array


def distance_plot(
    curve: DistanceCurve, weight: float, title: str, others: Sequence[Other] = ()
) -> Plot:
    """Force along the way (positive: pulls that way) and across it, and the weight [N]; below, what
    each of some other bodies does, attraction upward, with where that turns to repulsion."""
    felt = [o for o in others if np.nanmax(np.abs(o.attraction), initial=0.0) > 0]
    height = HEIGHT + (BELOW if felt else 0.0)
    return Plot(height, lambda figure, paper: _draw(figure, paper, curve, weight, title, felt))


def attraction(curve: DistanceCurve, start: Array, body: int, centre: Array) -> Array:
    """Return the force (k,) [N] that the part, at `start` (3,) before it is moved, feels of body
    number `body` at `centre` (3,) toward it; needs a curve made with `between`."""
    assert curve.felt is not None
    way = centre - (start + curve.distance[:, None] * curve.direction)
    toward = way / np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    found: Array = np.einsum("ki,ki->k", curve.felt[:, body, :3], toward)
    return found


def turning_points(distance: Array, force: Array) -> list[float]:
    """Return the distances [m] between which a force changes its sign, by straight lines."""
    known = np.isfinite(force)
    x, y = distance[known], force[known]
    k = np.flatnonzero(y[:-1] * y[1:] < 0)
    found: list[float] = (x[k] - y[k] * (x[k + 1] - x[k]) / (y[k + 1] - y[k])).tolist()
    return found


def _draw(
    figure: Figure,
    paper: Paper,
    curve: DistanceCurve,
    weight: float,
    title: str,
    others: Sequence[Other],
) -> None:
    if others:
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(HEIGHT, BELOW))
        _along(upper, paper, curve, weight, title)
        upper.set_xlabel("")
        _felt(lower, paper, curve, others)
        figure.align_ylabels()
    else:
        _along(figure.subplots(), paper, curve, weight, title)


def _felt(axes: Axes, paper: Paper, curve: DistanceCurve, others: Sequence[Other]) -> None:
    """Attraction above, repulsion below; the change of one to the other marked and said."""
    far = 1e3 * curve.distance
    axes.axhline(0, color=paper.soft, lw=1.2)
    styles = zip(others, paper.series, DASHES, strict=False)
    for other, colour, dash in styles:
        axes.plot(far, other.attraction, color=colour, ls=dash, label=f"by {other.name}")
        for at in turning_points(curve.distance, other.attraction):
            axes.plot(1e3 * at, 0, "D", ms=9, color=paper.warn, zorder=6)
            axes.annotate(
                f"{1e3 * at:.0f} mm", (1e3 * at, 0), xytext=(0, 9), textcoords="offset points",
                ha="center", color=paper.warn, size=11.5, weight="bold",
            )  # fmt: skip
    axes.set_ylabel("repelled | attracted\n[N]")
    axes.set_xlabel("moved by [mm]")
    axes.legend(loc="best")


def _along(axes: Axes, paper: Paper, curve: DistanceCurve, weight: float, title: str) -> None:
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
