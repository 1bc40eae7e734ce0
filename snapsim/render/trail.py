"""The trail: where the moving part's centre has been."""

from __future__ import annotations

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.render import palette


class Trail:
    """A line along `path` (s, 3), whose point k was reached at `time[k]`."""

    def __init__(self, plotter: pv.Plotter, time: Array, path: Array, line: float) -> None:
        self._time, self._path = time, path
        self._mesh = pv.PolyData(path.copy())
        self._mesh.lines = np.r_[len(path), np.arange(len(path))]
        self._actor = plotter.add_mesh(
            self._mesh,
            color=palette.TRAIL,
            line_width=line,
            lighting=False,
            reset_camera=False,
        )

    def show(self, time: float, now: Array) -> None:
        """Draw the trail up to `time`, ending at `now` (3,)."""
        self._mesh.points = trail_points(self._time, self._path, time, now)


def trail_points(time: Array, path: Array, now_time: float, now: Array) -> Array:
    """Return `path` (s, 3) with every point not yet reached put at `now`."""
    points: Array = np.where((time <= now_time)[:, None], path, now)
    return points
