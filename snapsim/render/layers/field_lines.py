"""Field lines of magnets and iron together, following the motion.

Seeds lie on each magnet's middle cut, each for the same flux at release, and stay there: they
belong to the magnet, so lines neither appear nor vanish. Lines fill space, as tubes; on the page
they keep to one plane of the magnet's own axes that faces the viewer. They are traced in space,
with the magnetisation that the run has stored, at key times chosen so that the part moves little
in between; a frame shows the mean of its two neighbours, point by point along the lines. So every
line moves on smoothly.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pyvista as pv
from scipy.interpolate import Akima1DInterpolator

from snapsim.arrays import Array, BoolArray, ByteArray, IntArray
from snapsim.magnetics.adaptive_field_lines import TracedLine, trace_adaptively
from snapsim.magnetics.cells import mesh as cells_of
from snapsim.magnetics.field_lines import equal_flux_grid, equal_flux_seeds
from snapsim.magnetics.quick_field import Field, QuickField
from snapsim.magnetics.sources import source_for
from snapsim.magnetics.total_field import inside
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import palette
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment, sample
from snapsim.render.layers.contract import Note
from snapsim.simulation.current_stages import change_moments, standing_at
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

LINES = 14  # a magnet, in a plane
ROWS = 5  # a magnet, in space: this many rows of this many
SIDES = 6  # of a tube
THICK = 0.0035  # of the scene's size: half a tube
POINTS = 72  # a half line
BENDING = 5  # points of a traced line from which on it is drawn bent (Akima's rule: no overshoot)
KEYS = 600  # key times at most; only those near a frame are traced
MOVE = 0.012  # of the scene's size: how far a body may move between key times
BOX = 1.6  # half size of the box in sizes of the scene
FADE = (0.45, 1.3)  # sizes of the scene from its centre between which lines fade
FAINT = 0.15
JUST = 1e-6  # before and after a current changes [s]: lines there do not mix
HEAD = 0.028  # of the scene's size: arrow heads that show which way


@dataclass(frozen=True)
class Seeds:
    """`body` that carries them, and where they are in its axes (k, 3) [m]."""

    body: int
    place: Array


class FieldLines:
    """Lines of one run; `size` [m] and `centre` (3,) are the action's, `axes` the view's; `bare`:
    of its magnets alone, as if no iron were there."""

    reach = None

    def __init__(
        self,
        plotter: Any,
        run: Trajectory,
        centre: Array,
        size: float,
        axes: Array,
        *,
        bare: bool = False,
    ) -> None:
        self._lines = MovingLines(run, centre, size, axes, spread=True, bare=bare)
        count = 2 * self._lines.count
        self._mesh = pv.PolyData(np.zeros((count * POINTS * SIDES, 3)), faces=_tube_faces(count))
        self._head = HEAD * size
        self._heads = pv.PolyData(
            np.zeros((4 * self._lines.count, 3)), faces=_head_faces(self._lines.count)
        )
        self._centre, self._size = centre, size
        self._colour = palette.FIELD_BARE if bare else palette.FIELD_LINE
        self._mesh["shade"] = np.zeros((self._mesh.n_points, 3), dtype=np.uint8)
        plotter.add_mesh(
            self._mesh,
            scalars="shade",
            rgb=True,
            smooth_shading=False,
            ambient=0.62,
            diffuse=0.5,
            specular=0.35,
            specular_power=25,
            reset_camera=False,
        )
        plotter.add_mesh(self._heads, color=self._colour, lighting=False, reset_camera=False)

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring the lines to a moment."""
        lines = self._lines.at(moment.time)
        paths = lines.reshape(-1, POINTS, 3)
        self._mesh.points = tubes(paths, THICK * self._size, view.axes[2])
        self._mesh["shade"] = np.repeat(self._shade(paths.reshape(-1, 3)), SIDES, axis=0)
        self._heads.points = _heads(lines[:, 0], view, self._head)

    def _shade(self, points: Array) -> ByteArray:
        """The lines' colour (k, 3), nearer to the backdrop's away from the scene: opaque, as
        see-through lines are darker where their pieces overlap."""
        far = np.linalg.norm(points - self._centre, axis=1) / self._size
        share = np.clip((FADE[1] - far) / (FADE[1] - FADE[0]), FAINT, 1.0)
        near, ground = (
            np.array(palette.rgb(c), float) for c in (self._colour, palette.BACKDROP_HIGH)
        )
        mixed: ByteArray = (ground + share[:, None] * (near - ground)).astype(np.uint8)
        return mixed

    def notes(self, moment: Moment) -> list[Note]:
        """No words."""
        return []


class SceneLines:
    """The lines of magnets and iron at any moment; seeds chosen at the moment `first`.

    `magnetised` are the names of the bodies whose magnetisation a moment tells; `size` [m] and
    `centre` (3,) are the action's, `axes` the view's; `spread` over space, else in one plane.
    """

    def __init__(
        self,
        system: System,
        magnetised: Collection[str],
        first: Moment,
        centre: Array,
        size: float,
        axes: Array,
        spread: bool = False,
    ) -> None:
        bodies = system.bodies
        self._spread = spread
        self._system, self._bodies, self._size = system, bodies, size
        self._changing = len(change_moments(bodies)) > 0
        self._box = centre - BOX * size, centre + BOX * size
        self._numbers = {b.name: i for i, b in enumerate(bodies) if b.name in magnetised}
        meshes = {i: cells_of(bodies[i].shape, system.detail) for i in self._numbers.values()}
        self._field = QuickField(bodies, meshes)
        self.seeds = self._choose_seeds(first, axes)
        self.count = sum(len(s.place) for s in self.seeds)
        self._reach = np.concatenate(
            [
                np.full(len(s.place), 2 * np.linalg.norm(bodies[s.body].shape.extents))
                for s in self.seeds
            ]
            or [np.zeros(0)]
        )

    def field_at(self, moment: Moment) -> Field:
        """Return B of a moment."""
        given = {i: moment.magnetisation[name] for name, i in self._numbers.items()}
        field = self._field
        if self._changing:
            field = field.under(standing_at(self._system, moment.time).bodies)
        return field.at(moment.position, moment.quaternion, given)

    def traced(self, moment: Moment) -> list[TracedLine]:
        """Return the lines of a moment, traced then and there."""
        if not self.seeds:
            return []
        where = [
            moment.position[s.body] + rotations.rotate(moment.quaternion[s.body], s.place)
            for s in self.seeds
        ]
        if self._nothing_on(moment):
            return [
                TracedLine(np.array([x, x]), np.array([x, x]), np.nan)
                for x in np.concatenate(where)
            ]
        return trace_adaptively(
            self.field_at(moment), np.concatenate(where), self._reach, self._size, self._box
        )

    def _nothing_on(self, moment: Moment) -> bool:
        """Whether no magnet and no coil has a field."""
        now = standing_at(self._system, moment.time).bodies if self._changing else self._bodies
        return not any(body.magnetisation.any() for body in now)

    def _choose_seeds(self, moment: Moment, axes: Array) -> list[Seeds]:
        field = self.field_at(moment)
        found = []
        for i, body in enumerate(self._bodies):
            axis = body.polar_axis
            if axis is not None and body.magnetisation.any():
                x, q = moment.position[i], moment.quaternion[i]
                across = seed_direction(body, rotations.rotate_back(q, axes[0]))
                half = 0.97 * float(np.abs(across) @ body.shape.extents)
                ends = [x + rotations.rotate(q, s * half * across) for s in (-1, 1)]
                along = rotations.rotate(q, axis * np.sign(axis @ body.magnetisation))
                if self._spread:
                    other = np.cross(axis, across)
                    deep = 0.97 * float(np.abs(other) @ body.shape.extents)
                    sides = np.stack([2 * deep * rotations.rotate(q, other), ends[1] - ends[0]])
                    world = equal_flux_grid(
                        field, ends[0] - sides[0] / 2, sides, along, _within(body, x, q), ROWS
                    )
                else:
                    world = equal_flux_seeds(field, ends[0], ends[1], along, LINES)
                found.append(Seeds(i, rotations.rotate_back(q, world - x)))
        return found


class MovingLines:
    """The lines of a run at any time: `at` gives (lines, 2, POINTS, 3) [m], from the seed along B
    and against it."""

    def __init__(
        self,
        run: Trajectory,
        centre: Array,
        size: float,
        axes: Array,
        *,
        spread: bool = False,
        bare: bool = False,
    ) -> None:
        self._run = run
        first = sample(run, float(run.time[0]))
        iron = () if bare else run.cells
        self.scene = SceneLines(run.system, iron, first, centre, size, axes, spread)
        self.count = self.scene.count
        self.keys = key_times(run, MOVE * size, KEYS)
        self._at_key = lru_cache(maxsize=8)(self._trace_key)

    def at(self, time: float) -> Array:
        """Return the lines of a time [s], between key times their mean."""
        j = int(np.clip(np.searchsorted(self.keys, time, side="right"), 1, len(self.keys) - 1))
        a, b = self.keys[j - 1], self.keys[j]
        u = float(np.clip((time - a) / (b - a), 0.0, 1.0))
        if u == 0.0:
            return self._at_key(j - 1)
        if u == 1.0:
            return self._at_key(j)
        mixed: Array = (1 - u) * self._at_key(j - 1) + u * self._at_key(j)
        return mixed

    def _trace_key(self, j: int) -> Array:
        lines = self.scene.traced(sample(self._run, float(self.keys[j])))
        return np.array([[evenly(line.ahead), evenly(line.back)] for line in lines])


def _within(body: Body, position: Array, quaternion: Array) -> Callable[[Array], BoolArray]:
    """Return what tells which world points (k, 3) a body holds."""
    shape = source_for(body.shape)

    def held(points: Array) -> BoolArray:
        return inside(shape, rotations.rotate_back(quaternion, points - position))

    return held


def tubes(paths: Array, radius: float, back: Array) -> Array:
    """Return the points (n POINTS SIDES, 3) of tubes round paths (n, POINTS, 3), corners turned the
    same way to the viewer, who is toward `back` (3,)."""
    along = np.gradient(paths, axis=1)
    side = np.cross(along, back)
    length = np.linalg.norm(side, axis=2, keepdims=True)
    side = np.where(length > 1e-12, side / np.maximum(length, 1e-12), np.eye(3)[0])
    up = np.cross(side, along)
    up /= np.maximum(np.linalg.norm(up, axis=2, keepdims=True), 1e-12)
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    ring = np.cos(turn)[:, None] * side[:, :, None] + np.sin(turn)[:, None] * up[:, :, None]
    found: Array = (paths[:, :, None] + radius * ring).reshape(-1, 3)
    return found


def _tube_faces(count: int) -> IntArray:
    """Quads between the rings of tubes, as VTK has them."""
    i, j = np.meshgrid(np.arange(POINTS - 1), np.arange(SIDES), indexing="ij")
    on = (j + 1) % SIDES
    one = np.stack([i * SIDES + j, i * SIDES + on, (i + 1) * SIDES + on, (i + 1) * SIDES + j], -1)
    every = one.reshape(1, -1, 4) + POINTS * SIDES * np.arange(count)[:, None, None]
    faces = every.reshape(-1, 4)
    found: IntArray = np.column_stack([np.full(len(faces), 4), faces]).ravel()
    return found


def seed_direction(body: Body, right: Array) -> Array:
    """Return the body axis (3,), square to the magnetisation, that lies most across the view."""
    along = body.polar_axis
    assert along is not None
    share = np.abs(right) * (np.abs(along) < 0.7)
    if not share.any():  # a magnetisation along no axis: anything square to it
        flat = right - (right @ along) * along
        found: Array = flat / np.linalg.norm(flat)
        return found
    axis = np.eye(3)[int(np.argmax(share))]
    axis = axis - (axis @ along) * along
    unit: Array = axis / np.linalg.norm(axis)
    return unit


def key_times(run: Trajectory, move: float, most: int) -> Array:
    """Return times (k,) [s] from a run's first to its last, between which no point of a free body
    moves further than `move` [m], or `most` of them as evenly apart in motion."""
    way = np.zeros(len(run.time))
    for i, body in enumerate(run.system.bodies):
        if body.fixed:
            continue
        step = np.linalg.norm(np.diff(run.position[:, i], axis=0), axis=1)
        dot = np.abs(np.sum(run.quaternion[1:, i] * run.quaternion[:-1, i], axis=1))
        turn = 2 * np.arccos(np.clip(dot, 0, 1))
        step += turn * float(np.linalg.norm(body.shape.extents))
        way += np.concatenate([[0.0], np.cumsum(step)])
    way += 1e-9 * (1 + way[-1]) * (run.time - run.time[0])  # at rest time goes on too
    count = int(np.clip(np.ceil(way[-1] / move), 1, most - 1)) + 1
    keys = np.interp(np.linspace(way[0], way[-1], count), way, run.time)
    moments = change_moments(run.system.bodies)
    changes = np.concatenate([moments - JUST, moments + JUST])
    kept = changes[(changes > run.time[0]) & (changes < run.time[-1])]
    found: Array = np.unique(np.concatenate([keys, kept[:: len(kept) // most + 1]]))
    return found if len(found) > 1 else np.array([run.time[0], run.time[0] + 1.0])


def evenly(path: Array) -> Array:
    """Return POINTS points (POINTS, 3) of a path, equally far from each other along it."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    kept = np.concatenate([[True], steps > 0])
    way = np.concatenate([[0.0], np.cumsum(steps)])[kept]
    wanted = np.linspace(0, way[-1], POINTS)
    if len(way) < BENDING:
        return np.column_stack([np.interp(wanted, way, path[kept, k]) for k in range(3)])
    found: Array = Akima1DInterpolator(way, path[kept])(wanted)
    return found


def _heads(ahead: Array, view: CameraView, size: float) -> Array:
    """Return flat arrow heads (4 n, 3) that face the viewer, a quarter along the lines ahead."""
    k = POINTS // 4
    way = ahead[:, k + 1] - ahead[:, k - 1]
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    side = np.cross(way, view.axes[2])
    at = ahead[:, k]
    corners = [at + size * way, at - size * (0.6 * way + 0.55 * side), at - size * 0.25 * way]
    corners.append(at - size * (0.6 * way - 0.55 * side))
    return np.stack(corners, axis=1).reshape(-1, 3)


def _head_faces(count: int) -> IntArray:
    one, numbers = np.array([3, 0, 1, 2, 3, 0, 2, 3]), np.array([0, 1, 1, 1] * 2)
    return np.concatenate([one + 4 * n * numbers for n in range(count)])
