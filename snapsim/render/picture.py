"""One picture after another: a plotter set up once, then only moved.

Where the camera stands still, only the rectangle that moving things and their shadows can reach is
drawn anew for each frame; the rest is drawn once, by the same means and to the same pixel grid.

The scene is drawn before nothing, reduced, and laid over the backdrop, which so is dithered at the
picture's own size; what is opaque has an opacity of its own in the window.

With opacity asked for, the scene is drawn before black and before white,
B = C + (1 - a) 0 and W = C + (1 - a) 1, so a = 1 - (W - B) and the straight colour is B / a; exact
for shadows and see-through parts too (Smith and Blinn, SIGGRAPH '96, triangulation matting with two
backings; from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
import pyvista as pv
from PIL import Image, ImageChops
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

from snapsim.arrays import Array, ByteArray, IntArray
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import camera, cutaway, palette, stage, studio
from snapsim.render.actors import BodyActors
from snapsim.render.backdrop import backdrop
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
from snapsim.work.held_open import HeldOpen

SHADOW_FINENESS = 32


def choose_axes(
    system: System, pose: Pose, action: Action, fixed: tuple[float, float] | None
) -> Array:
    """Return the direction of view (`View.axes`): as asked for, else the one that hides least."""
    if fixed is not None:
        return camera.axes_of(*fixed)
    few = action.path[:: max(1, len(action.path) // 24)]
    return camera.choose_direction(few, obstacles_of(system, pose, action.path))


def obstacles_of(system: System, pose: Pose, path: Array) -> list[tuple[Array, Array, Array]]:
    """Return boxes of the fixed bodies that hide what is behind: centre, rotation, half sizes; not
    of those that are cut open for what passes along `path` (s, 3)."""
    opened = cutaway.enclosing(system, pose, path)
    return [
        (pose.position[i], rotations.matrix(pose.quaternion[i]), body.shape.extents)
        for i, body in enumerate(system.bodies)
        if body.fixed and i not in opened and palette.look_of(body.material).opacity == 1
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


class Picture(HeldOpen):
    """Draws moments of one run into frames; a context, as it holds a window.

    Layers are added with `add`; `line` is the width of a hair line [pixels of the window]. Frames
    are RGB, without the stage's backdrop RGBA. `supersample` is how many samples a pixel has along
    a side, `glowing` the bodies that show their magnetisation.
    """

    def __init__(
        self,
        system: System,
        pose: Pose,
        action: Action,
        path: Camera,
        *,
        supersample: float = 2.0,
        with_stage: bool = True,
        glowing: Collection[int] = (),
        outlined: bool = False,
        parted: Mapping[str, float] | None = None,
        watch: Stopwatch | None = None,
    ) -> None:
        self.system, self._path, self._action = system, path, action
        self.view = path.view_at(0.0)
        self._staged, self._watch = with_stage, watch or Stopwatch()
        self._factor, self._glowing, self._outlined = supersample, glowing, outlined
        self._crop: tuple[int, int, int, int] | None = None
        self._layers: list[Layer] = []
        self._first: Image.Image | None = None
        self.line = self._factor * min(self.view.size) / 720
        w, h = self.view.size
        self.plotter = _open_window(*self._window(w, h))
        self._whole = 0, 0, w, h
        self._set_stage(pose)
        self._add_bodies(pose)
        given = (action.size, self.view.axes, self.level, parted or {})
        self._joints = JointMarks(self.plotter, system, pose, *given)

    def close(self) -> None:
        """Give the window back."""
        self.plotter.close()

    @property
    def level(self) -> float:
        """Height of the ground [m]."""
        return self._receiver.level

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

    def _window(self, width: int, height: int) -> tuple[int, int]:
        """Pixels of the window for pixels of the picture."""
        return round(self._factor * width), round(self._factor * height)

    def _set_stage(self, pose: Pose) -> None:
        action, view = self._action, self.view
        studio.illuminate(self.plotter, view.axes, action.centre, action.size)
        middle = view.project(action.centre)[0] / view.size
        self._back: Image.Image | None = None
        if self._staged:
            x, y = np.clip(np.round(middle, 2), 0.3, 0.7)
            self._back = backdrop(view.size, (float(x), float(y)))
        self._receiver = receiver = stage.find_receiver(self.system, pose, action)
        self._ground = stage.shadow_ground(receiver, action, view.axes)
        self._top: stage.TableTop | None = None
        if receiver.table is not None:
            i = receiver.table
            place = pose.position[i], pose.quaternion[i]
            self._top = stage.TableTop(
                self.plotter, self.system.bodies[i], place, action, self._ground
            )

    def _add_bodies(self, pose: Pose) -> None:
        self._every: dict[int, BodyActors] = {}
        self._actors: dict[int, BodyActors] = {}
        self._shadows: dict[int, tuple[Array, IntArray]] = {}
        order = sorted(
            range(len(self.system.bodies)),
            key=lambda i: palette.look_of(self.system.bodies[i].material).opacity < 1,
        )
        opened = cutaway.enclosing(self.system, pose, self._action.path)
        for i in order:
            body = self.system.bodies[i]
            cut = cutaway.toward(pose.quaternion[i], self.view.axes[2]) if i in opened else None
            position, quaternion = pose.position[i], pose.quaternion[i]
            actors = BodyActors(
                self.plotter,
                body,
                quaternion,
                1.2 * self.line,
                glows=i in self._glowing,
                table=i == self._receiver.table,
                outline=self._outlined,
                cut=cut,
            )
            actors.move(position, quaternion)
            self._every[i] = actors
            corners, triangles = body.shape.surface(SHADOW_FINENESS)
            if not body.fixed:
                self._actors[i] = actors
                self._shadows[i] = corners, triangles
            elif palette.look_of(body.material).opacity == 1 and self._top is not None:
                placed = position + rotations.rotate(quaternion, corners)
                if i != self._receiver.table:
                    self._top.keep_still(placed, triangles)

    def body(self, number: int) -> BodyActors:
        """Return the actors of a body."""
        return self._every[number]

    def hide(self, number: int) -> None:
        """Draw nothing of a body, nor the top of the table that it is."""
        self._every[number].hide()
        if number == self._receiver.table and self._top is not None:
            self._top.hide()
            self._top = None

    def take_away(self, number: int) -> None:
        """Draw nothing of a body, nor its shadow."""
        self.hide(number)
        self._shadows.pop(number, None)

    def _aim(self, view: camera.CameraView, crop: tuple[int, int, int, int]) -> None:
        """Point the plotter's camera at a rectangle of the picture."""
        c, depth = self.plotter.camera, self._depths(view)
        c.position = tuple(view.eye)
        c.focal_point = tuple(view.eye - view.axes[2])
        c.up = tuple(view.axes[1])
        matrix = pv.vtkmatrix_from_array(camera.projection(view, *depth, crop))
        c.SetExplicitProjectionTransformMatrix(matrix)
        c.UseExplicitProjectionTransformMatrixOn()

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
        self._first = self._render(self._whole)
        if self._path.still:
            self._narrow()

    def _narrow(self) -> None:
        """From here on draw anew only what moving things, layers and their shadows can reach."""
        reaches = [layer.reach for layer in self._layers]
        if any(reach is None for reach in reaches):
            return
        swept = self._action.redrawn
        soft = []
        if self._top is not None:
            ground = self._ground
            fallen = throw(swept, ground.level, ground.slope)
            flat = np.column_stack([fallen, np.full(len(swept), ground.level)])
            blur = LAMP * float(np.max(swept[:, 2] - ground.level, initial=0))
            blur += 0.03 * self._action.size
            soft = [flat + blur * np.array([a, b, 0.0]) for a in (-1, 1) for b in (-1, 1)]
        points = np.vstack([swept, *soft, *(r for r in reaches if r is not None)])
        self._crop = crop = camera.crop_around(self.view, points, 8)
        self.plotter.window_size = self._window(crop[2] - crop[0], crop[3] - crop[1])
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
        drawn = self._render(self._crop or self._whole)
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
            if i in self._shadows:
                corners, triangles = self._shadows[i]
                placed = pose.position[i] + rotations.rotate(pose.quaternion[i], corners)
                shadows.append((placed, triangles))
        if self._top is not None:
            self._top.cast(shadows)
        for i, actors in self._every.items():
            actors.face(self.view.eye, pose.position[i], pose.quaternion[i])
        self._joints.show(moment.time, pose)
        for layer in self._layers:
            layer.show(moment, self.view)

    def _render(self, box: tuple[int, int, int, int]) -> Image.Image:
        """Draw what the camera is aimed at: the part `box` of the picture."""
        size = box[2] - box[0], box[3] - box[1]
        if self._back is not None:
            drawn = self._reduce(self._shoot(), size)
            with self._watch.stage("backdrop"):
                return laid_over(drawn, self._back.crop(box))
        backs = []
        for colour in ("black", "white"):
            self.plotter.set_background(colour)
            backs.append(np.array(self._reduce(self._shoot(), size).convert("RGB")))
        with self._watch.stage("matte"):
            return Image.fromarray(matte(*backs), "RGBA")

    def _shoot(self) -> ByteArray:
        """Draw, and read the window back: (height, width, 4), row 0 at the bottom."""
        with self._watch.stage("render"):
            self.plotter.render()
            window, read = self.plotter.render_window, vtkUnsignedCharArray()
            w, h = window.GetSize()
            window.GetRGBACharPixelData(0, 0, w - 1, h - 1, 0, read)
            pixels: ByteArray = vtk_to_numpy(read)  # type: ignore[no-untyped-call]
            return pixels.reshape(h, w, 4)

    def _reduce(self, image: ByteArray, size: tuple[int, int]) -> Image.Image:
        """Return the picture as "RGBX": to Pillow the fourth channel is one as any other, as the
        colours are multiplied by it already."""
        with self._watch.stage("reduce"):
            h, w, _ = image.shape
            rows = np.ascontiguousarray(image[::-1])
            picture = Image.frombuffer("RGBX", (w, h), rows, "raw", "RGBX", 0, 1)
            if self._factor == 1:
                return picture
            if self._factor == 2:
                return picture.reduce(2)
            return picture.resize(size, Image.Resampling.BOX)


def laid_over(drawn: Image.Image, back: Image.Image) -> Image.Image:
    """Return a picture of colours multiplied by opacity, "RGBX", over another, "RGB"."""
    *colours, opacity = drawn.split()
    through = ImageChops.invert(opacity)
    seen = ImageChops.multiply(back, Image.merge("RGB", (through, through, through)))
    return ImageChops.add(Image.merge("RGB", colours), seen)


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
    plotter.set_background("black")
    plotter.render_window.SetAlphaBitPlanes(1)
    return plotter
