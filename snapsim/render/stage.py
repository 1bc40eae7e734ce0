"""The stage: a backdrop with a soft glow, three lamps, and the ground with its grid and shadows.

The lamps and the backdrop belong to the camera, so every scene is lit alike from where it is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array, ByteArray, IntArray
from snapsim.numerics import rotations
from snapsim.parts.shapes import fills_its_box
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.render.camera import CameraView
from snapsim.render.framing import Action
from snapsim.render.shadow import DARKNESS, Ground
from snapsim.simulation.system import System

TEXTURE = 1024  # pixels along a side of the ground's picture
REACH = 2.4  # half size of the ground's picture in sizes of the action; beyond it is dusk
DUSK = 0.88  # how dark it gets far from the action
SHADOW = 160  # pixels along a side of the shadow's picture; it is soft, so coarse is enough
GRID_STEPS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True)
class Receiver:
    """What shadows fall on: the plane z = `level`; `table` is a body's index or None (floor);
    `low`, `high` (2,) bound it [m]."""

    level: float
    table: int | None
    low: Array
    high: Array


# Lamps: toward them in camera axes (right, up, back), colour, strength.
LAMPS = (
    ((-0.70, 1.00, 0.75), "#FFF1DC", 0.72),
    ((0.95, 0.10, 0.80), "#CFE0F0", 0.46),
    ((0.30, -0.90, 0.55), "#DCE6EE", 0.40),
    ((0.20, 0.75, -1.00), "#E6F0F8", 0.34),
)
SHADOW_SLOPE = 0.28  # how slanting the light of the shadows is, away from the key lamp


def light(plotter: pv.Plotter, action: Action, axes: Array) -> None:
    """Set the lamps: a warm key from the upper left, cool fills, a rim from behind."""
    centre = action.centre
    for direction, colour, strength in LAMPS:
        position = centre + 4 * action.size * np.array(direction) @ axes
        plotter.add_light(
            pv.Light(
                position=tuple(position),
                focal_point=tuple(centre),
                color=colour,
                intensity=strength,
                light_type="scene light",
            )
        )


class StageBackdrop:
    """A sheet behind the scene: dark, with a glow behind the action."""

    def __init__(self, plotter: Any) -> None:
        n = 256
        along = (np.arange(n) + 0.5) / n * 2 - 1
        x, y = np.meshgrid(along, along)
        glow = np.exp(-(((x / 0.75) ** 2 + ((y - 0.25) / 0.8) ** 2) ** 1.0))[..., None]
        low, high = (
            np.array(palette.rgb(c), float) for c in (palette.BACKDROP_LOW, palette.BACKDROP_HIGH)
        )
        texture = _texture((low + (high - low) * glow).round().astype(np.uint8))
        corners = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
        sheet = pv.PolyData(corners, np.array([4, 0, 1, 2, 3]))
        sheet.active_texture_coordinates = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
        self._actor = plotter.add_mesh(sheet, texture=texture, lighting=False, reset_camera=False)

    def hang(self, view: CameraView, distance: float) -> None:
        """Hang it square to the view at `distance` [m], a little larger than the picture."""
        place = np.eye(4)
        place[:3, 0] = 1.02 * distance * view.half[0] * view.axes[0]
        place[:3, 1] = 1.02 * distance * view.half[1] * view.axes[1]
        place[:3, 2] = view.axes[2]
        place[:3, 3] = view.eye - distance * view.axes[2]
        self._actor.user_matrix = place


def find_receiver(system: System, pose: Pose, action: Action) -> Receiver:
    """Return the highest level table top that lies under a moving part, else a floor below all."""
    best: Receiver | None = None
    lowest = action.swept[:, 2].min() + 0.05 * action.size
    for i, body in enumerate(system.bodies):
        upright = rotations.rotate(pose.quaternion[i], np.array([0.0, 0.0, 1.0]))[2] > 0.9999
        if not (body.fixed and fills_its_box(body.shape) and upright) or body.is_magnet:
            continue
        spread = np.abs(rotations.matrix(pose.quaternion[i])[:2, :2]) @ body.shape.extents[:2]
        centre = pose.position[i]
        top = float(centre[2] + body.shape.extents[2])
        big = 2 * spread.max() > 0.6 * action.size
        if big and top < lowest and (best is None or top > best.level):
            best = Receiver(top, i, centre[:2] - spread, centre[:2] + spread)
    if best is not None:
        return best
    reach = 3 * action.size
    level = float(action.held[:, 2].min()) - 0.12 * action.size
    return Receiver(level, None, action.centre[:2] - reach, action.centre[:2] + reach)


class Floor:
    """The ground: a still sheet with the grid, and above it a sheet of shadow."""

    def __init__(
        self,
        plotter: pv.Plotter,
        receiver: Receiver,
        action: Action,
        axes: Array,
        colour: str,
        ground: bool = True,
    ) -> None:
        """`ground` False leaves only the shadow."""
        slope = SHADOW_SLOPE * (axes[0, :2] - axes[2, :2])
        self.ground = Ground(action.centre[:2], 1.6 * action.size, receiver.level, SHADOW, slope)
        self._still = np.ones((SHADOW, SHADOW))
        lift = 2e-4 * action.size
        if ground:
            whole = Ground(self.ground.centre, REACH * action.size, receiver.level, TEXTURE, slope)
            painted = _paint(receiver, whole, action, lit_from_above(colour, axes))
            self._lay(plotter, receiver, lift, painted, whole.half)
        dark = np.zeros((SHADOW, SHADOW, 4), dtype=np.uint8)
        self._texture = self._lay(plotter, receiver, 2 * lift, dark, self.ground.half)

    def keep_still(self, corners: Array, triangles: IntArray) -> None:
        """Add the shadow of a body that never moves."""
        self._still *= 1 - DARKNESS * self.ground.darkness(corners, triangles)

    def cast(self, moving: list[tuple[Array, IntArray]]) -> None:
        """Draw the shadows of the moving bodies' (corners, triangles), in place, with the still."""
        light = self._still.copy()
        for corners, triangles in moving:
            light *= 1 - DARKNESS * self.ground.darkness(corners, triangles)
        image: Any = self._texture.GetInput()
        scalars = image.GetPointData().GetScalars()
        pv.convert_array(scalars)[:, 3] = (255 * (1 - light)).astype(np.uint8).ravel()
        scalars.Modified()
        image.Modified()
        self._texture.Modified()

    def _lay(
        self,
        plotter: pv.Plotter,
        receiver: Receiver,
        lift: float,
        picture: ByteArray,
        half: float,
    ) -> Any:
        """Lay a picture, row 0 at the least y, over what ground there is; returns its texture."""
        g = self.ground
        low = np.maximum(g.centre - half, receiver.low)
        high = np.minimum(g.centre + half, receiver.high)
        x, y = (
            np.array([low[0], high[0], high[0], low[0]]),
            np.array([low[1], low[1], high[1], high[1]]),
        )
        sheet = pv.PolyData(
            np.column_stack([x, y, np.full(4, receiver.level + lift)]), np.array([4, 0, 1, 2, 3])
        )
        corner = g.centre - half
        sheet.active_texture_coordinates = (np.column_stack([x, y]) - corner) / (2 * half)
        texture = _texture(picture)
        plotter.add_mesh(sheet, texture=texture, lighting=False, reset_camera=False)
        return texture


def lit_from_above(colour: str, axes: Array) -> Array:
    """Return the 8-bit colour (3,) of a matt level ground under the lamps."""
    sum_of_light = np.full(3, 0.2)
    for direction, lamp, strength in LAMPS:
        toward = np.array(direction) @ axes
        share = max(0.0, float(toward[2]) / float(np.linalg.norm(toward)))
        sum_of_light += strength * share * np.array(palette.rgb(lamp)) / 255
    shown: Array = np.clip(np.array(palette.rgb(colour)) * sum_of_light, 0, 255)
    return shown


def _paint(receiver: Receiver, patch: Ground, action: Action, colour: Array) -> ByteArray:
    """Return the ground without shadows, row 0 at the least y: RGB, a floor RGBA.

    A pool of light lies round the action; a floor fades out into the backdrop.
    """
    along = ((np.arange(TEXTURE) + 0.5) / TEXTURE * 2 - 1) * patch.half
    x, y = np.meshgrid(along, along)
    radius = np.hypot(x, y) / action.size
    pool = 1 - DUSK * (1 - np.exp(-((radius / 1.15) ** 2)))
    step = min(GRID_STEPS, key=lambda s: abs(np.log(s / (action.size / 9))))
    pixel = 2 * patch.half / TEXTURE
    lines = np.maximum(
        _grid(x + patch.centre[0], step, pixel), _grid(y + patch.centre[1], step, pixel)
    )
    mix = (0.15 * lines * np.exp(-((radius / 0.9) ** 2)))[..., None]
    paint = colour * pool[..., None] * (1 - mix) + np.array(palette.rgb(palette.GRID)) * mix
    if receiver.table is not None:
        return paint.astype(np.uint8)
    cover = 255 * np.clip(1.6 * (1 - radius / REACH), 0, 1)
    return np.dstack([paint, cover]).astype(np.uint8)


def _grid(x: Array, step: float, pixel: float) -> Array:
    """1 on lines `step` apart, falling to 0 within a pixel and a half; every fifth is stronger."""
    nearest = np.round(x / step)
    line = np.clip(1.5 - np.abs(x - nearest * step) / pixel, 0, 1)
    strong: Array = line * np.where(nearest % 5 == 0, 1.0, 0.55)
    return strong


def _texture(picture: ByteArray) -> Any:
    """Return a smooth texture of a picture whose row 0 is the bottom."""
    texture: Any = pv.Texture(picture[::-1])  # type: ignore[no-untyped-call]
    texture.SetInterpolate(True)
    texture.SetRepeat(False)
    return texture
