"""Cameras that move: each looks along a direction that changes smoothly and stands just so far off
that nothing it must hold is lost.

For a direction the nearest eye that holds all points follows in closed form (`camera.fit`). An eye
fitted anew at each moment would shake with whichever point happens to be outermost; so the fit is
made on a grid of clip times, and the distance from the aim point is the upper envelope of the fits
within `ease` seconds, then averaged over as long: smooth, and never nearer than the fit itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array
from snapsim.render import camera
from snapsim.render.camera import CameraView, Margins

GRID = 1 / 30  # clip seconds between fits
EASE = 0.5

Held = Callable[[float], Array]
"""World points (n, 3) [m] that must be in view at a clip time."""


@dataclass(frozen=True)
class Moving:
    """Views at clip times `at` (k,), in between by linear interpolation of `eye` (k, 3), and of
    `angles` (k, 2) [deg]; `half` and `size` as in `CameraView`."""

    at: Array
    eye: Array
    angles: Array
    half: tuple[float, float]
    size: tuple[int, int]
    still: bool = False

    def view_at(self, clip: float) -> CameraView:
        """Return the view at a clip time."""
        eye = np.array([np.interp(clip, self.at, self.eye[:, i]) for i in range(3)])
        azimuth, elevation = (float(np.interp(clip, self.at, self.angles[:, i])) for i in (0, 1))
        return CameraView(eye, camera.axes_of(azimuth, elevation), self.half, self.size)


def moving(
    span: tuple[float, float],
    angles: Callable[[float], tuple[float, float]],
    zoom: Callable[[float], float],
    held: Held,
    size: tuple[int, int],
    margins: Margins,
    ease: float = EASE,
) -> Moving:
    """Return the camera of the clip times `span` that looks along `angles` [deg] and holds what
    `held` says at each time; `zoom` below 1 stands further off."""
    at = np.linspace(*span, max(2, int(np.ceil((span[1] - span[0]) / GRID)) + 1))
    turns = np.array([angles(t) for t in at])
    axes = [camera.axes_of(*turn) for turn in turns]
    fits = [camera.fit(held(t), a, size, margins) for t, a in zip(at, axes, strict=True)]
    half = fits[0].half
    # the eye in its own axes: aside, above, back; an eye moved aside must stand further off
    eye = np.array([a @ fit.eye for fit, a in zip(fits, axes, strict=True)])
    count = max(1, round(ease / GRID))
    aside = np.column_stack([_smooth(eye[:, i], count) for i in (0, 1)])
    every = zip(at, axes, aside, strict=True)
    need = np.array([_least_back(held(t) @ a.T, x, half, margins) for t, a, x in every])
    back = _smooth(_envelope(need, count), count)
    depth = back - np.array([middle_of(held(t)) @ a[2] for t, a in zip(at, axes, strict=True)])
    back += depth * (1 / np.array([zoom(t) for t in at]) - 1)
    own = np.column_stack([aside, back])
    eyes = np.array([row @ a for row, a in zip(own, axes, strict=True)])
    return Moving(at, eyes, turns, half, size)


def _least_back(seen: Array, aside: Array, half: tuple[float, float], margins: Margins) -> float:
    """Return the least third coordinate of an eye whose other two are `aside` (2,) from which all
    points (n, 3), in its own axes, lie inside the margins."""
    across, above = seen[:, 0] - aside[0], seen[:, 1] - aside[1]
    needs = [
        seen[:, 2] + across / (half[0] * (1 - 2 * margins.right)),
        seen[:, 2] - across / (half[0] * (1 - 2 * margins.left)),
        seen[:, 2] + above / (half[1] * (1 - 2 * margins.top)),
        seen[:, 2] - above / (half[1] * (1 - 2 * margins.bottom)),
    ]
    return float(np.max(needs))


def middle_of(points: Array) -> Array:
    """Return the middle (3,) of the box round points (n, 3)."""
    centre: Array = (points.min(axis=0) + points.max(axis=0)) / 2
    return centre


def _envelope(values: Array, count: int) -> Array:
    """The largest value within `count` places each way."""
    padded = np.pad(values, count, mode="edge")
    found: Array = np.lib.stride_tricks.sliding_window_view(padded, 2 * count + 1).max(axis=1)
    return found


def _smooth(values: Array, count: int) -> Array:
    padded = np.pad(values, count, mode="edge")
    found: Array = np.lib.stride_tricks.sliding_window_view(padded, 2 * count + 1).mean(axis=1)
    return found


def zoomed(view: CameraView, centre: Array, zoom: float) -> CameraView:
    """Return the view from further back, so that things at `centre` (3,) look `zoom` as large."""
    depth = -float(view.coordinates(centre)[0, 2])
    return replace(view, eye=view.eye + depth * (1 / zoom - 1) * view.axes[2])
