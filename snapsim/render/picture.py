"""One picture after another: a plotter set up once, then only moved.

The camera stands still, so only the rectangle that the moving parts and their shadows can reach is
drawn anew for each frame; the rest is drawn once, by the same means and to the same pixel grid.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import TracebackType
from typing import Any

import numpy as np
import pyvista as pv
from PIL import Image

from snapsim.arrays import Array, ByteArray, IntArray
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import camera, palette, stage
from snapsim.render.actors import BodyActors, add_ghost
from snapsim.render.arrows import ArrowLayer, top_polarisation
from snapsim.render.framing import Action, find_action
from snapsim.render.interpolation import Moment
from snapsim.render.joint_marks import JointMarks
from snapsim.render.overlay import Layout
from snapsim.render.shadow import LAMP, throw
from snapsim.render.trail import Trail
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Cells

SHADOW_FINENESS = 32
TABLE_DIM = 0.45  # a table's sides, beside its lit top


def choose_view(
    system: System, pose: Pose, action: Action, layout: Layout, fixed: tuple[float, float] | None
) -> camera.View:
    """Return the camera for an action: the direction asked for, else the one that hides least."""
    if fixed is not None:
        axes = camera.axes_of(*fixed)
    else:
        boxes = [
            (pose.position[i], rotations.matrix(pose.quaternion[i]), body.shape.extents)
            for i, body in enumerate(system.bodies)
            if body.fixed and palette.look_of(body.material).opacity == 1
        ]
        axes = camera.choose_direction(action.path[:: max(1, len(action.path) // 24)], boxes)
    return camera.fit(action.held, axes, layout.size, layout.margins)


class Picture:
    """Draws moments of one run into frames (height, width, 3); a context, as it holds a window."""

    def __init__(
        self,
        system: System,
        pose: Pose,
        action: Action,
        view: camera.View,
        *,
        supersample: bool = True,
        trail: tuple[Array, Array] | None = None,
        cells: Mapping[str, Cells] | None = None,
        magnetisation: Mapping[str, Array] | None = None,
        ghost: bool = True,
        parted: Mapping[str, float] | None = None,
    ) -> None:
        self.system, self.view, self._action = system, view, action
        self._factor = 2 if supersample else 1
        self._crop: tuple[int, int, int, int] | None = None
        self._line = self._factor * min(view.size) / 720
        w, h = view.size
        self._plotter = _open_window(self._factor * w, self._factor * h)
        stage.light(self._plotter, action, view.axes)
        self._depth = self._depths()
        stage.hang_backdrop(self._plotter, view, 0.98 * self._depth[1])
        receiver = stage.find_receiver(system, pose, action)
        self._table = receiver.table
        colour = palette.FLOOR
        if receiver.table is not None:
            colour = palette.look_of(system.bodies[receiver.table].material).colour
        self._floor = stage.Floor(self._plotter, receiver, action, view.axes, colour)
        self._add_bodies(pose, ghost)
        given = (action.size, view.axes, receiver.level, parted or {})
        self._joints = JointMarks(self._plotter, system, pose, *given)
        self._trail = Trail(self._plotter, *trail, 3.5 * self._line) if trail else None
        self.top_polarisation = top_polarisation(magnetisation or {})
        self._arrows = self._make_arrows(cells or {}) if self.top_polarisation else {}
        self._aim((0, 0, w, h))
        self._still = self._first_frame(pose)

    def __enter__(self) -> Picture:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._plotter.close()

    def _add_bodies(self, pose: Pose, ghost: bool) -> None:
        self._actors: dict[int, BodyActors] = {}
        self._shadows: dict[int, tuple[Array, IntArray]] = {}
        order = sorted(
            range(len(self.system.bodies)),
            key=lambda i: palette.look_of(self.system.bodies[i].material).opacity < 1,
        )
        for i in order:
            body = self.system.bodies[i]
            position, quaternion = pose.position[i], pose.quaternion[i]
            dim = TABLE_DIM if i == self._table else 1.0
            actors = BodyActors(self._plotter, body, quaternion, 1.6 * self._line, dim)
            actors.move(position, quaternion)
            corners, triangles = body.shape.surface(SHADOW_FINENESS)
            if not body.fixed:
                self._actors[i] = actors
                self._shadows[i] = corners, triangles
                if ghost:
                    add_ghost(self._plotter, body, position, quaternion, 1.4 * self._line)
            elif palette.look_of(body.material).opacity == 1:
                placed = position + rotations.rotate(quaternion, corners)
                self._floor.keep_still(placed, triangles)

    def _make_arrows(self, cells: Mapping[str, Cells]) -> dict[int, ArrowLayer]:
        return {
            i: ArrowLayer(
                self._plotter, body, cells[body.name], self.top_polarisation, self.view.eye
            )
            for i, body in enumerate(self.system.bodies)
            if body.name in cells
        }

    def _aim(self, crop: tuple[int, int, int, int]) -> None:
        """Point the plotter's camera at a rectangle of the picture."""
        view, c = self.view, self._plotter.camera
        c.position = tuple(view.eye)
        c.focal_point = tuple(view.eye - view.axes[2])
        c.up = tuple(view.axes[1])
        matrix = pv.vtkmatrix_from_array(camera.projection(view, *self._depth, crop))
        c.SetExplicitProjectionTransformMatrix(matrix)
        c.UseExplicitProjectionTransformMatrixOn()

    def _depths(self) -> tuple[float, float]:
        """Return near and far distances that hold the action and, as far as it goes, the table."""
        reach = 6 * self._action.size * np.array([[1.0], [-1.0]])
        return camera.depth_range(
            self.view,
            np.vstack([self._action.held, self._action.centre + reach * self.view.axes[2]]),
        )

    def _first_frame(self, pose: Pose) -> Image.Image:
        """Draw the whole picture once; a later render is only right after this."""
        self._place(pose)
        self._plotter.screenshot(None, return_img=True)
        self._plotter.render()
        return self._reduce(self._plotter.image)

    def narrow(self, points: Array) -> None:
        """From here on draw anew only round the world `points` (n, 3) and their shadows."""
        ground = self._floor.ground
        level = ground.level
        room = max((layer.reach for layer in self._arrows.values()), default=0.0)
        corners = room * np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
        points = np.vstack([points, *(points[:: max(1, len(points) // 4000)] + c for c in corners)])
        fallen = np.column_stack([throw(points, level, ground.slope), np.full(len(points), level)])
        blur = LAMP * float(np.max(points[:, 2] - level, initial=0)) + 0.03 * self._action.size
        around = [fallen + blur * np.array([a, b, 0.0]) for a in (-1, 1) for b in (-1, 1)]
        crop = camera.crop_around(self.view, np.vstack([points, *around]), 8)
        self._crop = crop
        self._plotter.window_size = (
            self._factor * (crop[2] - crop[0]),
            self._factor * (crop[3] - crop[1]),
        )
        self._aim(crop)

    def draw(self, moment: Moment) -> Image.Image:
        """Return the frame of one moment, without words."""
        pose = Pose(moment.position, moment.quaternion)
        self._place(pose)
        self._joints.show(moment.time, pose)
        for i, layer in self._arrows.items():
            name = self.system.bodies[i].name
            layer.show(moment.position[i], moment.quaternion[i], moment.magnetisation[name])
        self._plotter.render()
        drawn = self._reduce(self._plotter.image)
        if self._crop is None:
            return drawn
        frame = self._still.copy()
        frame.paste(drawn, self._crop[:2])
        return frame

    def show_trail(self, time: float, now: Array) -> None:
        """Let the trail end at `now` (3,), reached at `time`."""
        if self._trail is not None:
            self._trail.show(time, now)

    def _place(self, pose: Pose) -> None:
        shadows = []
        for i, actors in self._actors.items():
            actors.move(pose.position[i], pose.quaternion[i])
            corners, triangles = self._shadows[i]
            placed = pose.position[i] + rotations.rotate(pose.quaternion[i], corners)
            shadows.append((placed, triangles))
        self._floor.cast(shadows)

    def _reduce(self, image: ByteArray) -> Image.Image:
        picture = Image.fromarray(np.ascontiguousarray(image[..., :3]))
        return picture.reduce(self._factor) if self._factor > 1 else picture


def action_of(system: System, pose: Pose) -> Action:
    """Return what to hold in view for a scene that has not been released."""
    free = [i for i, body in enumerate(system.bodies) if not body.fixed]
    part = free[0] if free else None
    return find_action(system, pose.position[None], pose.quaternion[None], part)


def _open_window(width: int, height: int) -> Any:
    """Return an off-screen plotter of this many pixels, without lamps."""
    plotter: Any = pv.Plotter(off_screen=True, window_size=[width, height], lighting="none")
    plotter.disable_anti_aliasing()
    plotter.set_background(palette.BACKDROP_LOW)
    return plotter
