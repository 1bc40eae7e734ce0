"""One picture after another: a plotter set up once, then only moved.

Where the camera stands still, only the rectangle that moving things and their shadows can reach is
drawn anew for each frame; the rest is drawn once, by the same means and to the same pixel grid.

With opacity asked for, the scene stands before nothing: it is drawn before black and before white,
B = C + (1 - a) 0 and W = C + (1 - a) 1, so a = 1 - (W - B) and the straight colour is B / a; exact
for shadows and see-through parts too (Smith and Blinn, SIGGRAPH '96, triangulation matting with two
backings; from memory).
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
from snapsim.render.actors import BodyActors
from snapsim.render.cameras.contract import Camera
from snapsim.render.framing import Action, find_action
from snapsim.render.interpolation import Moment
from snapsim.render.joint_marks import JointMarks
from snapsim.render.layers.contract import Layer
from snapsim.render.layout import PictureLayout
from snapsim.render.overlay import PlacedNote
from snapsim.render.shadow import LAMP, throw
from snapsim.render.stopwatch import Stopwatch
from snapsim.simulation.system import System

SHADOW_FINENESS = 32
TABLE_DIM = 0.45  # a table's sides, beside its lit top


def choose_axes(
    system: System, pose: Pose, action: Action, fixed: tuple[float, float] | None
) -> Array:
    """Return the direction of view (`View.axes`): as asked for, else the one that hides least."""
    if fixed is not None:
        return camera.axes_of(*fixed)
    few = action.path[:: max(1, len(action.path) // 24)]
    return camera.choose_direction(few, obstacles_of(system, pose))


def obstacles_of(system: System, pose: Pose) -> list[tuple[Array, Array, Array]]:
    """Return boxes of the fixed bodies that hide what is behind: centre, rotation, half sizes."""
    return [
        (pose.position[i], rotations.matrix(pose.quaternion[i]), body.shape.extents)
        for i, body in enumerate(system.bodies)
        if body.fixed and palette.look_of(body.material).opacity == 1
    ]


def choose_view(
    system: System,
    pose: Pose,
    action: Action,
    layout: PictureLayout,
    fixed: tuple[float, float] | None,
) -> camera.CameraView:
    """Return the nearest view in that direction that holds an action."""
    axes = choose_axes(system, pose, action, fixed)
    return camera.fit(action.held, axes, layout.size, layout.margins)


class Picture:
    """Draws moments of one run into frames; a context, as it holds a window.

    Layers are added with `add`; `line` is the width of a hair line [pixels of the window]. Frames
    are RGB, without the stage's backdrop and ground RGBA.
    """

    def __init__(
        self,
        system: System,
        pose: Pose,
        action: Action,
        path: Camera,
        *,
        supersample: bool = True,
        with_stage: bool = True,
        parted: Mapping[str, float] | None = None,
        watch: Stopwatch | None = None,
    ) -> None:
        self.system, self._path, self._action = system, path, action
        self.view = path.view_at(0.0)
        self._staged, self._watch = with_stage, watch or Stopwatch()
        self._factor = 2 if supersample else 1
        self._crop: tuple[int, int, int, int] | None = None
        self._layers: list[Layer] = []
        self._first: Image.Image | None = None
        self.line = self._factor * min(self.view.size) / 720
        w, h = self.view.size
        self.plotter = _open_window(self._factor * w, self._factor * h)
        self._whole = 0, 0, w, h
        self._set_stage(pose)
        self._add_bodies(pose)
        given = (action.size, self.view.axes, self.level, parted or {})
        self._joints = JointMarks(self.plotter, system, pose, *given)

    def __enter__(self) -> Picture:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.plotter.close()

    @property
    def level(self) -> float:
        """Height of the ground [m]."""
        return self._floor.ground.level

    @property
    def still(self) -> bool:
        """Does the camera stand still?"""
        return self._path.still

    def notes(self, moment: Moment) -> list[PlacedNote]:
        """Return the words of all layers at the moment last drawn, with their places."""
        found = [note for layer in self._layers for note in layer.notes(moment)]
        return [
            PlacedNote(
                note.text,
                note.colour,
                (float(x), float(y)),
                note.aside * self.view.pixels_per_metre(note.place),
            )
            for note in found
            for x, y in self.view.project(note.place)
        ]

    def add(self, layer: Layer) -> None:
        """Let a layer take part, before the first frame."""
        self._layers.append(layer)

    def _set_stage(self, pose: Pose) -> None:
        action, view = self._action, self.view
        stage.light(self.plotter, action, view.axes)
        self._backdrop: stage.StageBackdrop | None = None
        if self._staged:
            self._backdrop = stage.StageBackdrop(self.plotter)
            self._backdrop.hang(view, 0.98 * self._depths(view)[1])
        receiver = stage.find_receiver(self.system, pose, action)
        self._table = receiver.table
        colour = palette.FLOOR
        if receiver.table is not None:
            colour = palette.look_of(self.system.bodies[receiver.table].material).colour
        self._floor = stage.Floor(
            self.plotter, receiver, action, view.axes, colour, ground=self._staged
        )

    def _add_bodies(self, pose: Pose) -> None:
        self._every: dict[int, BodyActors] = {}
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
            actors = BodyActors(self.plotter, body, quaternion, 1.6 * self.line, dim)
            actors.move(position, quaternion)
            self._every[i] = actors
            corners, triangles = body.shape.surface(SHADOW_FINENESS)
            if not body.fixed:
                self._actors[i] = actors
                self._shadows[i] = corners, triangles
            elif palette.look_of(body.material).opacity == 1:
                placed = position + rotations.rotate(quaternion, corners)
                self._floor.keep_still(placed, triangles)

    def body(self, number: int) -> BodyActors:
        """Return the actors of a body."""
        return self._every[number]

    def _aim(self, view: camera.CameraView, crop: tuple[int, int, int, int]) -> None:
        """Point the plotter's camera at a rectangle of the picture."""
        c, depth = self.plotter.camera, self._depths(view)
        c.position = tuple(view.eye)
        c.focal_point = tuple(view.eye - view.axes[2])
        c.up = tuple(view.axes[1])
        matrix = pv.vtkmatrix_from_array(camera.projection(view, *depth, crop))
        c.SetExplicitProjectionTransformMatrix(matrix)
        c.UseExplicitProjectionTransformMatrixOn()
        if self._backdrop is not None:
            self._backdrop.hang(view, 0.98 * depth[1])

    def _depths(self, view: camera.CameraView) -> tuple[float, float]:
        """Return near and far distances that hold the action and, as far as it goes, the table."""
        reach = 6 * self._action.size * np.array([[1.0], [-1.0]])
        return camera.depth_range(
            view, np.vstack([self._action.held, self._action.centre + reach * view.axes[2]])
        )

    def _start(self, moment: Moment) -> None:
        """Draw the whole picture once; a later render is only right after this."""
        self._aim(self.view, self._whole)
        self._bring(moment)
        self.plotter.screenshot(None, return_img=True)
        self._first = self._render()
        if self._path.still:
            self._narrow()

    def _narrow(self) -> None:
        """From here on draw anew only what moving things, layers and their shadows can reach."""
        reaches = [layer.reach for layer in self._layers]
        if any(reach is None for reach in reaches):
            return
        ground = self._floor.ground
        swept = self._action.redrawn
        fallen = throw(swept, ground.level, ground.slope)
        flat = np.column_stack([fallen, np.full(len(swept), ground.level)])
        blur = LAMP * float(np.max(swept[:, 2] - ground.level, initial=0))
        blur += 0.03 * self._action.size
        soft = [flat + blur * np.array([a, b, 0.0]) for a in (-1, 1) for b in (-1, 1)]
        points = np.vstack([swept, *soft, *(r for r in reaches if r is not None)])
        self._crop = crop = camera.crop_around(self.view, points, 8)
        self.plotter.window_size = (
            self._factor * (crop[2] - crop[0]),
            self._factor * (crop[3] - crop[1]),
        )
        self._aim(self.view, crop)

    def draw(self, moment: Moment, clip: float = 0.0) -> Image.Image:
        """Return the frame of one moment at a clip time [s], without words."""
        if not self._path.still:
            self.view = self._path.view_at(clip)
        if self._first is None:
            self._start(moment)
        elif not self._path.still:
            self._aim(self.view, self._whole)
        with self._watch.stage("place"):
            self._bring(moment)
        drawn = self._render()
        if self._crop is None:
            return drawn
        assert self._first is not None
        frame = self._first.copy()
        frame.paste(drawn, self._crop[:2])
        return frame

    def _bring(self, moment: Moment) -> None:
        pose = Pose(moment.position, moment.quaternion)
        shadows = []
        for i, actors in self._actors.items():
            actors.move(pose.position[i], pose.quaternion[i])
            corners, triangles = self._shadows[i]
            placed = pose.position[i] + rotations.rotate(pose.quaternion[i], corners)
            shadows.append((placed, triangles))
        self._floor.cast(shadows)
        self._joints.show(moment.time, pose)
        for layer in self._layers:
            layer.show(moment, self.view)

    def _render(self) -> Image.Image:
        if self._staged:
            return self._reduce(self._shoot())
        backs = []
        for colour in ("black", "white"):
            self.plotter.set_background(colour)
            backs.append(np.array(self._reduce(self._shoot())))
        with self._watch.stage("matte"):
            return Image.fromarray(matte(*backs), "RGBA")

    def _shoot(self) -> ByteArray:
        with self._watch.stage("render"):
            self.plotter.render()
            image: ByteArray = self.plotter.image
            return image

    def _reduce(self, image: ByteArray) -> Image.Image:
        with self._watch.stage("reduce"):
            picture = Image.fromarray(np.ascontiguousarray(image[..., :3]))
            return picture.reduce(self._factor) if self._factor > 1 else picture


def matte(black: ByteArray, white: ByteArray) -> ByteArray:
    """Return straight colour and opacity (h, w, 4) of what was drawn before black and white."""
    b, w = black.astype(np.int16), white.astype(np.int16)
    opacity = 255 - (w - b).max(axis=-1)
    safe = np.maximum(opacity, 1)[..., None]
    colour = np.clip((255 * b.astype(np.int32) + safe // 2) // safe, 0, 255)
    found: ByteArray = np.dstack([colour, np.clip(opacity, 0, 255)]).astype(np.uint8)
    return found


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
