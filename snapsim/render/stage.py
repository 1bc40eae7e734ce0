"""The stage: which table a scene stands on, and its top with light and shadows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import fills_its_box
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.render.actors import pose_matrix
from snapsim.render.bevel import setback_of
from snapsim.render.framing import Action
from snapsim.render.shadow import DARKNESS, Ground
from snapsim.render.wood import TILE, planks
from snapsim.simulation.system import System

SHADOW = 320  # pixels along a side of the shadow's picture
SHADOW_SLOPE = 0.28  # how slanting the light of the shadows is, away from the lamp
LIT, DUSK = 1.0, 0.20  # how bright the table is in the pool of light, and far from it
POOL = 0.62  # radius of the pool in sizes of the action
LIFT = 2e-4  # m of the painted top over the table's own
GRID_STEPS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True)
class Receiver:
    """What shadows fall on: the plane z = `level`; `table` is a body's index or None (floor);
    `low`, `high` (2,) bound it [m]."""

    level: float
    table: int | None
    low: Array
    high: Array


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


def _wood(body: Body) -> Any:
    """The planks of a table, to be repeated over its top."""
    texture: Any = pv.Texture(planks(palette.look_of(body.material).colour))  # type: ignore[no-untyped-call]
    texture.SetInterpolate(True)
    texture.SetMipmap(True)
    texture.SetMaximumAnisotropicFiltering(1.0)  # in software an eighth of the drawing, unseen
    texture.SetRepeat(True)
    return texture


def _pool_of_light(world: Array, action: Action) -> Array:
    """How bright points of a table are, 0 to 1: brightest where things happen."""
    away = np.linalg.norm(world[:, :2] - action.centre[:2], axis=1)
    lit: Array = DUSK + (LIT - DUSK) * np.exp(-((away / (POOL * action.size)) ** 2))
    return lit.clip(0, 1)


class TableTop:
    """The lit top of a table: planks, a pool of light about the action, and shadows, which darken
    the points of a mesh that is finer where things happen."""

    def __init__(
        self,
        plotter: Any,
        body: Body,
        place: tuple[Array, Array],
        action: Action,
        ground: Ground,
    ) -> None:
        """`place` is the body's position (3,) and quaternion (4,)."""
        self._ground, (position, quaternion) = ground, place
        self._still = np.ones((ground.pixels, ground.pixels), dtype=np.float32)
        centre = rotations.rotate_back(quaternion, action.centre - position)
        half = body.shape.extents[:2] - setback_of(body.shape.extents)
        x, y = (_stations(h, c, 0.7 * action.size) for h, c in zip(half, centre[:2], strict=True))
        self._mesh = _sheet(x, y, float(body.shape.extents[2]) + LIFT)
        self._mesh.active_texture_coordinates = self._mesh.points[:, :2] / TILE
        world = position + rotations.rotate(quaternion, np.asarray(self._mesh.points, float))
        self._pixel = self._pixels(world)
        self._pool = _pool_of_light(world, action)
        self._mesh["shade"] = np.zeros((self._mesh.n_points, 3), dtype=np.uint8)
        self._actor = actor = plotter.add_mesh(
            self._mesh,
            scalars="shade",
            rgb=True,
            texture=_wood(body),
            lighting=False,
            reset_camera=False,
        )
        actor.user_matrix = pose_matrix(position, quaternion)

    def hide(self) -> None:
        """Draw nothing of it."""
        self._actor.visibility = False

    def _pixels(self, world: Array) -> tuple[IntArray, IntArray]:
        """Row and column of the shadow's picture at world points; outside it, at its edge."""
        g = self._ground
        share = (world[:, :2] - g.centre + g.half) / (2 * g.half)
        at = np.clip(np.rint(share * (g.pixels - 1)), 0, g.pixels - 1).astype(np.int64)
        return at[:, 1], at[:, 0]

    def keep_still(self, corners: Array, triangles: IntArray) -> None:
        """Add the shadow of a body that never moves."""
        self._still *= 1 - DARKNESS * self._ground.darkness(corners, triangles)

    def cast(self, moving: list[tuple[Array, IntArray]]) -> None:
        """Draw the shadows of the moving bodies' (corners, triangles), in place, with the still."""
        light = self._still.copy()
        for corners, triangles in moving:
            light *= 1 - DARKNESS * self._ground.darkness(corners, triangles)
        grey = np.rint(255 * self._pool * light[self._pixel]).astype(np.uint8)
        self._mesh["shade"] = np.repeat(grey[:, None], 3, axis=1)


def shadow_ground(receiver: Receiver, action: Action, axes: Array) -> Ground:
    """Return the patch on which shadows are worked out, for a view along `axes`."""
    slope = SHADOW_SLOPE * (axes[0, :2] - axes[2, :2])
    return Ground(action.centre[:2], 0.9 * action.size, receiver.level, SHADOW, slope)


def _stations(half: float, centre: float, near: float) -> Array:
    """Coordinates from -half to half, closer together within `near` of `centre` [m]."""
    coarse = np.linspace(-half, half, 40)
    fine = np.linspace(max(-half, centre - near), min(half, centre + near), 110)
    found: Array = np.unique(np.concatenate([coarse, fine]))
    return found


def _sheet(x: Array, y: Array, height: float) -> pv.PolyData:
    """Return a level mesh of quadrangles with points at all x and y [m]."""
    gx, gy = np.meshgrid(x, y, indexing="ij")
    points = np.column_stack([gx.ravel(), gy.ravel(), np.full(gx.size, height)])
    i, j = np.meshgrid(np.arange(len(x) - 1), np.arange(len(y) - 1), indexing="ij")
    corner = (i * len(y) + j).ravel()
    faces = np.column_stack(
        [np.full(len(corner), 4), corner, corner + len(y), corner + len(y) + 1, corner + 1]
    )
    return pv.PolyData(points, faces.ravel())
