"""Plots of an overlay: tracks on the picture with the computed paths, and residuals over time."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.arrays import Array, ByteArray
from snapsim.footage.outlines import outline
from snapsim.footage.overlay import TrackOverlay
from snapsim.footage.projection import seen
from snapsim.footage.tracks import Track
from snapsim.render.plots import Plot
from snapsim.render.plots.style import DASHES, MARKERS, TITLE_WIDTH, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT: Final = 6.4
FINE: Final = 600
"""Points of a computed path."""


def overlay_plot(
    found: TrackOverlay, title: str, unit: str, still: ByteArray | None = None
) -> Plot:
    """Tracked places and computed paths on the picture, over a still (h, w, 3) if given."""
    return Plot(HEIGHT, lambda figure, paper: _overlay(figure, paper, found, title, unit, still))


def residual_plot(found: TrackOverlay, title: str, unit: str) -> Plot:
    """Tracked less computed, across and along the picture, against time after release."""
    return Plot(HEIGHT, lambda figure, paper: _residuals(figure, paper, found, title, unit))


def fine_track(track: Track, release: float) -> Track:
    """The track with closely spaced times and nothing seen, for a smooth computed path."""
    times = np.linspace(min(float(track.time[0]), release), float(track.time[-1]), FINE)
    return Track(track.point, track.body, track.mark, times, np.full((FINE, 2), np.nan))


def _overlay(
    figure: Figure,
    paper: Paper,
    found: TrackOverlay,
    title: str,
    unit: str,
    still: ByteArray | None,
) -> None:
    axes = figure.subplots()
    if still is not None:
        wide, high = found.view.size
        low, top = (high, 0.0) if found.view.down else (0.0, high)
        axes.imshow(still, extent=(0, wide, low, top), alpha=0.6)
    _bodies(axes, paper, found)
    _frame(axes, _tracks(axes, paper, found), found.view.down)
    axes.set(xlabel=f"across [{unit}]", ylabel=f"along [{unit}]")
    axes.set_aspect("equal")
    figure.suptitle(
        "\n".join(wrap(title, TITLE_WIDTH)), x=0.02, ha="left", weight="bold", size=13.5
    )
    figure.legend(
        loc="outside lower center", ncols=3, borderaxespad=1.2, title="tracked; lines: computed"
    )


def _tracks(axes: Axes, paper: Paper, found: TrackOverlay) -> Array:
    """Draw what was tracked and what is computed of it; return all places (k, 2) drawn."""
    shown = []
    for k, track in enumerate(found.footage.tracks):
        style = k % len(paper.series)
        path = seen(found.course, found.view, fine_track(track, found.release), found.release)
        axes.plot(*path.T, color=paper.series[style], ls="-", lw=1.6)
        axes.plot(
            *track.place.T, MARKERS[style], color=paper.series[style], ms=4.5, mfc="none", mew=1.0,
            label=track.point,
        )  # fmt: skip
        shown += [path, track.place]
    return np.concatenate(shown)


def _bodies(axes: Axes, paper: Paper, found: TrackOverlay) -> None:
    """Outlines: fixed bodies filled, moving ones where they begin and end."""
    from matplotlib.collections import LineCollection, PolyCollection

    for body in found.bodies:
        for time in (0.0,) if body.fixed else (0.0, float(found.course.time[-1])):
            shape = outline(found.course, found.view, body, time)
            if body.fixed:
                axes.add_collection(
                    PolyCollection(list(shape.faces), facecolors=paper.iron, edgecolors="face")
                )
            axes.add_collection(
                LineCollection(list(shape.edges), colors=paper.soft, linewidths=1.2)
            )


def _frame(axes: Axes, places: Array, down: bool) -> None:
    known = places[np.isfinite(places).all(axis=1)]
    low, high = known.min(axis=0), known.max(axis=0)
    room = 0.25 * float(np.max(high - low)) + 1e-9
    side = max(room, 0.6 * float(high[1] - low[1]) - 0.5 * float(high[0] - low[0]))
    axes.set_xlim(low[0] - side, high[0] + side)
    ends = (low[1] - room, high[1] + room)
    axes.set_ylim(*(ends[::-1] if down else ends))


def _residuals(figure: Figure, paper: Paper, found: TrackOverlay, title: str, unit: str) -> None:
    across, along = figure.subplots(2, 1, sharex=True)
    for j, (axes, name) in enumerate(((across, "across"), (along, "along"))):
        if np.isfinite(found.noise):
            axes.axhspan(-2 * found.noise, 2 * found.noise, color=paper.rule, zorder=0)
        axes.axhline(0, color=paper.soft, lw=1.0)
        for k, track in enumerate(found.footage.tracks):
            style = k % len(paper.series)
            axes.plot(
                1e3 * (track.time - found.release), found.residual[k][:, j], MARKERS[style],
                color=paper.series[style], ms=4.0, mfc="none", mew=1.0,
                label=track.point if j == 0 else None,
            )  # fmt: skip
        for blow in found.course.blows:
            axes.axvline(1e3 * blow, color=paper.warn, lw=1.0, ls=DASHES[2])
        if np.isfinite(found.until):
            axes.axvline(1e3 * found.until, color=paper.accent, lw=1.8, ls=DASHES[1])
        axes.set_ylabel(f"{name}: tracked\nless computed [{unit}]")
        _limit(axes, found, j)
    along.set_xlabel("time after release [ms]; dotted: blows")
    entitle(across, title)
    figure.align_ylabels()
    figure.legend(loc="outside lower center", ncols=3, borderaxespad=1.2)


def _limit(axes: Axes, found: TrackOverlay, j: int) -> None:
    """Show what matters: a few wrong places may lie outside."""
    values = np.concatenate([found.compared(k)[:, j] for k in range(len(found.residual))])
    if len(values):
        most = 1.3 * max(float(np.quantile(np.abs(values), 0.98)), 3 * np.nan_to_num(found.noise))
        axes.set_ylim(-most or -1, most or 1)
