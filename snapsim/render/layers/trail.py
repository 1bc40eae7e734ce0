"""The trail: where the moving part's centre has been."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.render import palette
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note


class Trail:
    """A line along the path of body number `part` through `position` (s, n, 3) at `time` (s,)."""

    def __init__(self, plotter: Any, part: int, time: Array, position: Array, line: float) -> None:
        self._part, self._time, self.reach = part, time, position[:, part]
        self._mesh = pv.PolyData(self.reach.copy())
        self._mesh.lines = np.r_[len(time), np.arange(len(time))]
        plotter.add_mesh(
            self._mesh,
            color=palette.TRAIL,
            line_width=line,
            lighting=False,
            reset_camera=False,
        )

    def show(self, moment: Moment, view: CameraView) -> None:
        """Draw the trail up to the moment."""
        now = moment.position[self._part]
        self._mesh.points = trail_points(self._time, self.reach, moment.time, now)

    def notes(self, moment: Moment) -> list[Note]:
        """No words."""
        return []


def trail_points(time: Array, path: Array, now_time: float, now: Array) -> Array:
    """Return `path` (s, 3) with every point not yet reached put at `now`."""
    points: Array = np.where((time <= now_time)[:, None], path, now)
    return points
