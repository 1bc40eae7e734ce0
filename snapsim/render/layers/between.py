"""What two parts do to each other: two arrows, equal and opposite, and their one number."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.render import palette, poles
from snapsim.render.camera import CameraView
from snapsim.render.framing import around
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.render.layers.vectors import arrow, before_it, frame_along, in_newtons, stretched
from snapsim.render.lines import JOIN
from snapsim.render.pair_force import PairForce
from snapsim.simulation.trajectory import Trajectory

LONGEST: Final = 0.2  # of the action's size
SHORTEST: Final = 0.02
ROOM: Final = (
    0.45  # of the way between the parts: an arrow that points at the other goes no further
)


class Between:
    """The arrows of a pair; `size` [m] is the action's, `span` [s] when they are seen (None: all
    the time). Lengths go with the square root of the force, as those of `vectors`."""

    def __init__(
        self,
        plotter: Any,
        run: Trajectory,
        force: PairForce,
        size: float,
        span: tuple[float, float] | None = None,
    ) -> None:
        self._force, self._span = force, span
        self._longest, self._shortest = LONGEST * size, SHORTEST * size
        extents = [run.system.bodies[i].shape.extents for i in force.pair]
        self._large = max(float(np.linalg.norm(e)) for e in extents)
        self._above, self._side = np.zeros(3), np.zeros(3)
        first, second = (run.position[:, i] for i in force.pair)
        near = int(np.argmin(np.linalg.norm(first - second, axis=1)))
        when = float(run.time[near]) if span is None else span[0]
        self._most = max(float(np.linalg.norm(force.at(when))), 1e-9)
        self.reach = np.vstack([around(way, 1.1 * self._longest, 600) for way in (first, second)])
        points, triangles = arrow(1)
        points[:, 1:] *= 0.1 * self._longest
        self._points = points
        self._meshes = [poles.poly(points.copy(), triangles) for _ in force.pair]
        self._actors = [
            plotter.add_mesh(
                mesh, color=palette.FORCE, ambient=0.75, diffuse=0.35, specular=0.0,
                smooth_shading=False, reset_camera=False,
            )
            for mesh in self._meshes
        ]  # fmt: skip

    def _acting(self, moment: Moment) -> Array | None:
        """The force on the first of the pair (3,) [N], None where no arrow is to be seen."""
        if self._span is not None and not self._span[0] <= moment.time <= self._span[1]:
            return None
        force = self._force.at(moment.time)
        return force if self.length(moment, force) >= self._shortest else None

    def length(self, moment: Moment, force: Array) -> float:
        """Return the length [m] of both arrows."""
        size = float(np.linalg.norm(force))
        found = self._longest * min(float(np.sqrt(size / self._most)), 1.0)
        way = self._way(moment)
        inward = float(force @ way) > 0
        return min(found, ROOM * float(np.linalg.norm(way))) if inward else found

    def _way(self, moment: Moment) -> Array:
        """From the first part to the second (3,) [m]."""
        first, second = self._force.pair
        way: Array = moment.position[second] - moment.position[first]
        return way

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring both arrows to the moment's force."""
        force = self._acting(moment)
        for actor in self._actors:
            actor.visibility = force is not None
        if force is None:
            return
        length, centres = self.length(moment, force), moment.position[list(self._force.pair)]
        self._above, self._side = view.axes[1], view.axes[0]
        nearest = float((centres @ view.axes[2]).max())
        points = self._points.copy()
        points[:, 0] = stretched(points[:, 0], length, 0.24 * self._longest)
        ways = force / np.linalg.norm(force), -force / np.linalg.norm(force)
        for place, way, mesh, actor in zip(
            centres, ways, self._meshes, self._actors, strict=True
        ):  # before both parts, the nearer one too
            mesh.points = points @ frame_along(way)
            before = 1.1 * self._large + nearest - float(place @ view.axes[2])
            actor.user_matrix = before_it(place, view.eye, before)

    def notes(self, moment: Moment) -> list[Note]:
        """What each does to the other, above their middle."""
        force = self._acting(moment)
        if force is None:
            return []
        verb = "pulls" if float(force @ self._way(moment)) > 0 else "pushes"
        size = in_newtons(float(np.linalg.norm(force))).replace(" ", JOIN)
        words = f"each {verb}: {size}"
        middle = moment.position[list(self._force.pair)].mean(axis=0)
        place = middle + self._large * (self._above - self._side)
        return [Note(words, place, palette.FORCE)]
