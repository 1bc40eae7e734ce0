"""The gap: a line along the shortest way between a free body and a magnet, with end ticks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.mechanics.contact import ContactGeometry
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.render import palette
from snapsim.render.camera import CameraView
from snapsim.render.framing import corners
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.simulation.trajectory import Trajectory

LEAST = 2e-4  # m: below this there is nothing to point at
ROOM = 1.001


class GapLine:
    """The nearest points of any free body and another magnet of a run, and the run's gap."""

    def __init__(self, plotter: Any, run: Trajectory, line: float) -> None:
        system = run.system
        self._bodies = system.bodies
        self._geometry = ContactGeometry(system.bodies, SurfaceRules(SurfacePair()))
        held = [i for i, b in enumerate(system.bodies) if b.is_magnet]
        self.reach = np.concatenate(
            [corners(system.bodies[i], run.position[:1, i], run.quaternion[:1, i]) for i in held]
            or [np.zeros((0, 3))]
        )
        self._ends: tuple[Array, Array] | None = None
        self._mesh = pv.PolyData(np.zeros((6, 3)), lines=np.array([2, 0, 1, 2, 2, 3, 2, 4, 5]))
        self._actor = plotter.add_mesh(
            self._mesh, color=palette.GAP_LINE, line_width=line, lighting=False, reset_camera=False
        )

    def show(self, moment: Moment, view: CameraView) -> None:
        """Find the two points and draw between them."""
        self._ends = None
        if np.isfinite(moment.gap) and moment.gap > LEAST:
            pose = Pose(moment.position, moment.quaternion)
            self._ends = nearest_points(self._geometry, self._bodies, pose)
        self._actor.visibility = self._ends is not None
        if self._ends is None:
            return
        a, b = self._ends
        across = np.cross(b - a, view.axes[2])
        across *= (
            0.012 * _distance(view, a) * view.half[1] / max(float(np.linalg.norm(across)), 1e-12)
        )
        points = np.stack([a, b, a - across, a + across, b - across, b + across])
        self._mesh.points = points + 0.02 * (view.eye - points)  # before the parts' outlines

    def notes(self, moment: Moment) -> list[Note]:
        """The run's gap, half way."""
        if self._ends is None:
            return []
        middle = (self._ends[0] + self._ends[1]) / 2
        return [Note(f"gap {1e3 * moment.gap:.1f} mm", middle, palette.GAP_LINE)]


def nearest_points(
    geometry: ContactGeometry, bodies: Sequence[Body], pose: Pose
) -> tuple[Array, Array] | None:
    """Return the points (3,), (3,) [m] of a body that moves and of another magnet that are nearest
    to each other; None where no pair is apart."""
    gaps = geometry.gaps(pose)
    counts = [
        (bodies[a].is_magnet and not bodies[b].fixed)
        or (bodies[b].is_magnet and not bodies[a].fixed)
        for a, b in geometry.pairs
    ]
    wanted = np.where(counts, gaps, np.inf)
    k = int(np.argmin(wanted)) if len(wanted) else -1
    if k < 0 or not np.isfinite(wanted[k]) or wanted[k] <= 0:
        return None
    found = geometry.contacts(pose, ROOM * float(wanted[k]) + 1e-9)
    own = np.flatnonzero((found.pair == geometry.pairs[k]).all(axis=1))
    if not len(own):
        return None
    n = own[int(np.argmin(found.gap[own]))]
    half = 0.5 * found.gap[n] * found.normal[n]
    return found.point[n] + half, found.point[n] - half


def _distance(view: CameraView, point: Array) -> float:
    return -float(view.coordinates(point)[0, 2])
