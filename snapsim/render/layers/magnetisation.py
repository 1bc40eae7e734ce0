"""A few arrows of magnetisation in the soft parts: length by |M|, one scale.

Polarisation J = mu_0 M [T] (IEC 60050-121, 121-11-54; from memory). Arrows point from a part's own
south to its own north: below a north pole they point down while the part is pulled up, as its south
end lies nearer.
Each layer of arrows is shrunk a little toward the eye, which leaves its picture as it is but brings
it before its own part, so that the arrows show without making the iron transparent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.parts.bodies import Body
from snapsim.render import palette, poles
from snapsim.render.actors import pose_matrix
from snapsim.render.camera import CameraView
from snapsim.render.framing import around, corners
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.render.layers.glow import unknown
from snapsim.simulation.trajectory import Cells

COUNT = 24
SIDES = 8


def spread(position: Array, volume: Array, count: int) -> IntArray:
    """Return the indices of `count` cells spread evenly, each farthest from the rest."""
    if len(position) <= count:
        return np.arange(len(position))
    chosen = [int(np.argmin(np.linalg.norm(position - position.mean(axis=0), axis=1)))]
    distance = np.linalg.norm(position - position[chosen[0]], axis=1)
    while len(chosen) < count:
        chosen.append(int(np.argmax(distance)))
        distance = np.minimum(distance, np.linalg.norm(position - position[chosen[-1]], axis=1))
    return np.array(sorted(chosen))


def arrow_template(rim: float = 0.0) -> tuple[Array, IntArray]:
    """Return an arrow of length 1 along x, centred: points (p, 3) and triangles (t, 3).

    `rim` makes it larger all round by that much.
    """
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    ring = np.column_stack([np.zeros(SIDES), np.cos(turn), np.sin(turn)])
    stations = (
        (-0.5 - rim, 0.075 + rim),
        (0.1 - rim, 0.075 + rim),
        (0.1 - rim, 0.2 + 1.5 * rim),
    )
    points = np.concatenate(
        [ring * radius + (x, 0, 0) for x, radius in stations]
        + [[[0.5 + 2 * rim, 0, 0], [-0.5 - rim, 0, 0]]]
    )
    i = np.arange(SIDES)
    j = (i + 1) % SIDES
    tip, tail = 3 * SIDES, 3 * SIDES + 1
    triangles = [np.column_stack([np.full(SIDES, tail), j, i])]
    for k in range(2):
        a, b = k * SIDES, (k + 1) * SIDES
        triangles += [
            np.column_stack([a + i, a + j, b + j]),
            np.column_stack([a + i, b + j, b + i]),
        ]
    triangles.append(np.column_stack([2 * SIDES + i, 2 * SIDES + j, np.full(SIDES, tip)]))
    return points, np.concatenate(triangles)


def arrow_points(template: Array, position: Array, vector: Array) -> Array:
    """Return the template at each `position` (c, 3), along and as long as `vector` (c, 3) [m]."""
    length = np.linalg.norm(vector, axis=1, keepdims=True)
    along = np.where(length > 0, vector / np.where(length > 0, length, 1), [[1.0, 0, 0]])
    least = np.eye(3)[np.argmin(np.abs(along), axis=1)]
    first = np.cross(along, least)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    frame = np.stack([along, first, np.cross(along, first)], axis=1) * length[..., None]
    placed: Array = position[:, None] + np.einsum("pk,ckj->cpj", template, frame)
    return placed.reshape(-1, 3)


def top_polarisation(magnetisation: Mapping[str, Array]) -> float:
    """Return the largest mu_0 |M| [T] met in arrays (..., 3) [A/m], rounded up to a tidy figure."""
    tops = [float(np.linalg.norm(m, axis=-1).max()) for m in magnetisation.values()]
    top = MU_0 * max(tops, default=0.0)
    if not top > 0:
        return 0.0
    decade = 10 ** np.floor(np.log10(top))
    return float(
        next(s for s in (1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 4, 5, 8, 10) if s * decade >= top)
        * decade
    )


class Magnetisation:
    """The arrows of every soft body whose cells are known; `top` [T] is the full length of one.

    `position` (k, n, 3) and `quaternion` (k, n, 4) say where the bodies go.
    """

    def __init__(
        self,
        plotter: Any,
        bodies: Sequence[Body],
        cells: Mapping[str, Cells],
        magnetisation: Mapping[str, Array],
        position: Array,
        quaternion: Array,
        top: float,
    ) -> None:
        self._parts = {
            i: _Arrows(plotter, body, cells[body.name], top)
            for i, body in enumerate(bodies)
            if body.name in cells and top > 0
        }
        self._names, self._bodies = [body.name for body in bodies], bodies
        self.reach = np.concatenate(
            [np.zeros((0, 3))]
            + [
                around(corners(bodies[i], position[:, i], quaternion[:, i]), part.room)
                for i, part in self._parts.items()
            ]
        )

    def show(self, moment: Moment, view: CameraView) -> None:
        """Draw the magnetisation of a moment."""
        for i, part in self._parts.items():
            m = moment.magnetisation[self._names[i]]
            part.show(moment.position[i], moment.quaternion[i], m, view.eye)

    def notes(self, moment: Moment) -> list[Note]:
        """Which magnetisation is not known: its arrows are left out."""
        return unknown(moment, {i: self._bodies[i] for i in self._parts})


class _Arrows:
    """The arrows of one soft body."""

    def __init__(self, plotter: Any, body: Body, cells: Cells, top: float) -> None:
        self._chosen = spread(cells.position, cells.volume, COUNT)
        self._position = cells.position[self._chosen]
        self._template, triangles = arrow_template()
        self._fat = arrow_template(0.035)[0]
        count, size = len(self._chosen), len(self._template)
        self._length = 1.6 * float((body.shape.volume / count) ** (1 / 3)) / top
        self._toward = 1.05 * float(np.linalg.norm(body.shape.extents))
        self.room = 0.65 * self._length * top  # how far an arrow goes from its cell [m]
        faces = (triangles[None] + size * np.arange(count)[:, None, None]).reshape(-1, 3)
        self._mesh = poles.poly(np.zeros((count * size, 3)), faces)
        self._rim = self._mesh.copy()
        self._actor = plotter.add_mesh(
            self._mesh,
            color=palette.ARROW,
            scalars=None,
            lighting=False,
            reset_camera=False,
        )
        self._rim_actor = plotter.add_mesh(
            self._rim,
            color=palette.ARROW_RIM,
            scalars=None,
            lighting=False,
            culling="front",
            reset_camera=False,
        )

    def show(self, position: Array, quaternion: Array, magnetisation: Array, eye: Array) -> None:
        """Draw `magnetisation` (c, 3) [A/m], body axes, with the body at its pose."""
        j = np.nan_to_num(MU_0 * magnetisation[self._chosen])
        self._mesh.points = arrow_points(self._template, self._position, self._length * j)
        self._rim.points = arrow_points(self._fat, self._position, self._length * j)
        toward = np.eye(4)
        share = 1 - self._toward / float(np.linalg.norm(position - eye))
        toward[:3, :3] *= share
        toward[:3, 3] = (1 - share) * eye
        for actor in (self._actor, self._rim_actor):
            actor.user_matrix = toward @ pose_matrix(position, quaternion)
