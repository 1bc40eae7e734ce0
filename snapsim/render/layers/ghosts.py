"""Ghosts: outlines of where the moving bodies were let go, and of places passed on the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.parts.bodies import Body
from snapsim.render import palette, poles
from snapsim.render.actors import EDGE_ANGLE, FINENESS, pose_matrix
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note

BETWEEN = 2  # outlines of the leading part between release and its first blow
APART = 0.35  # least distance of outlines, as a share of the part's size


class Ghosts:
    """Outlines of `bodies` at release; of number `part` also at `passed` times of its path."""

    def __init__(
        self,
        plotter: Any,
        bodies: Sequence[Body],
        position: Array,
        quaternion: Array,
        line: float,
        part: int | None = None,
        passed: Sequence[tuple[float, Array, Array]] = (),
    ) -> None:
        self.reach = np.zeros((0, 3))  # where the bodies themselves go
        for body, x, q in zip(bodies, position, quaternion, strict=True):
            if not body.fixed:
                _outline(plotter, body, x, q, line, 0.75)
        self._later = [
            (time, _outline(plotter, bodies[part], x, q, line, 0.35))
            for time, x, q in passed
            if part is not None
        ]

    def show(self, moment: Moment, view: CameraView) -> None:
        """Show an outline from when its place was passed."""
        for time, actor in self._later:
            actor.visibility = moment.time >= time

    def notes(self, moment: Moment) -> list[Note]:
        """No words."""
        return []


def places_passed(
    time: Array, position: Array, quaternion: Array, size: float, until: float
) -> list[tuple[float, Array, Array]]:
    """Return `BETWEEN` (time, position, quaternion) of a path (k, 3), equally far from each other,
    before `until` [s]; fewer where they would lie nearer than APART of `size` [m]."""
    told = np.flatnonzero(time <= until)
    way = np.concatenate(
        [[0.0], np.cumsum(np.linalg.norm(np.diff(position[told], axis=0), axis=1))]
    )
    count = min(BETWEEN, int(way[-1] / (APART * size)) - 1) if size > 0 else 0
    shares = [(i + 1) / (count + 1) for i in range(max(count, 0))]
    found = [int(told[np.searchsorted(way, share * way[-1])]) for share in shares]
    return [(float(time[k]), position[k], quaternion[k]) for k in found]


def _outline(
    plotter: Any, body: Body, position: Array, quaternion: Array, line: float, opacity: float
) -> Any:
    """Draw the edges of a body at a pose; returns the actor."""
    mesh = poles.poly(*body.shape.surface(FINENESS))
    edges = mesh.extract_feature_edges(
        feature_angle=EDGE_ANGLE, boundary_edges=False, manifold_edges=False
    )
    if edges.n_cells == 0:  # a ball has no edges: show its equator
        edges = pv.Circle(radius=float(body.shape.extents[0]), resolution=96).extract_all_edges()
    actor = plotter.add_mesh(
        edges,
        color=palette.GHOST,
        line_width=line,
        lighting=False,
        opacity=opacity,
        reset_camera=False,
    )
    actor.user_matrix = pose_matrix(position, quaternion)
    return actor
