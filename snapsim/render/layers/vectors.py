"""Arrows of the leading part: its velocity, the magnetic force and torque on it.

Lengths go with the square root of the size, so that a pull that grows a hundredfold on the way
stays in the picture and is seen from the start; the words beside each arrow give the number. A
torque's arrow has two heads and lies along its axis. The arrows are shrunk toward the eye like
those of the magnetisation: same picture, but before the part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.render import palette, poles
from snapsim.render.camera import CameraView
from snapsim.render.framing import around
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.simulation.trajectory import Trajectory

LONGEST = 0.2  # of the action's size
SHORTEST = 0.03  # of the action's size, below which an arrow is left out
SIDES = 16


@dataclass(frozen=True)
class ArrowQuantity:
    """What an arrow shows: `name` in words, its `values` (k, 3) over a run's frames and at a
    moment (3,), `colour`, number of `heads`, and how its size is written."""

    letter: str
    values: Callable[[Trajectory, int], Array]
    at: Callable[[Moment, int], Array]
    colour: str
    heads: int
    words: Callable[[float], str]


def in_newtons(size: float) -> str:
    """Return a force in words."""
    return (
        f"{size / 1e3:.2f} kN"
        if size >= 1e3
        else f"{size:.3g} N"
        if size < 100
        else f"{size:.0f} N"
    )


def in_newton_metres(size: float) -> str:
    """Return a torque in words."""
    return f"{size:.2f} N m" if size >= 1 else f"{1e3 * size:.0f} mN m"


QUANTITIES: Final = {
    "velocity": ArrowQuantity(
        "v", lambda run, i: run.velocity[:, i], lambda m, i: m.velocity[i],
        palette.VELOCITY, 1, lambda v: f"{v:.2f} m/s",
    ),
    "force": ArrowQuantity(
        "F", lambda run, i: run.force[:, i], lambda m, i: m.force[i],
        palette.FORCE, 1, in_newtons,
    ),
    "torque": ArrowQuantity(
        "T", lambda run, i: run.torque[:, i], lambda m, i: m.torque[i],
        palette.TORQUE, 2, in_newton_metres,
    ),
}  # fmt: skip


class Vector:
    """The arrow of one quantity on body number `part` of a run; `size` [m] is the action's."""

    def __init__(
        self,
        plotter: Any,
        quantity: ArrowQuantity,
        run: Trajectory,
        part: int,
        size: float,
        most: float,
    ) -> None:
        """`most` is the quantity's size that gets the longest arrow."""
        self._quantity, self._part, self._most = quantity, part, most
        self._longest, self._shortest = LONGEST * size, SHORTEST * size
        self._before = 1.1 * float(np.linalg.norm(run.system.bodies[part].shape.extents))
        self.reach = around(run.position[:, part], 1.1 * self._longest, 600)
        points, triangles = arrow(quantity.heads)
        points[:, 1:] *= 0.1 * self._longest
        self._points, self._mesh = points, poles.poly(points.copy(), triangles)
        self._actor = plotter.add_mesh(
            self._mesh,
            color=quantity.colour,
            ambient=0.75,
            diffuse=0.35,
            specular=0.0,
            smooth_shading=False,
            reset_camera=False,
        )

    def length(self, size: float) -> float:
        """Return the length [m] of the arrow of a quantity of this size."""
        return self._longest * float(np.sqrt(size / self._most)) if self._most > 0 else 0.0

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring the arrow to the moment's vector."""
        vector = self._quantity.at(moment, self._part)
        size = float(np.linalg.norm(vector))
        length = self.length(size)
        self._actor.visibility = length >= self._shortest
        if length < self._shortest:
            return
        points = self._points.copy()
        points[:, 0] = stretched(points[:, 0], length, 0.24 * self._longest)
        self._mesh.points = points @ frame_along(vector / size)
        self._actor.user_matrix = before_it(moment.position[self._part], view.eye, self._before)

    def notes(self, moment: Moment) -> list[Note]:
        """The letter and the number, at the tip."""
        vector = self._quantity.at(moment, self._part)
        size = float(np.linalg.norm(vector))
        length = self.length(size)
        if length < self._shortest:
            return []
        tip = moment.position[self._part] + length * vector / size
        words = f"{self._quantity.letter} {self._quantity.words(size)}"
        return [Note(words, tip, self._quantity.colour, self._before)]


def before_it(place: Array, eye: Array, before: float) -> Array:
    """Return the matrix (4, 4) that puts what is drawn about the origin at `place` (3,), shrunk
    toward the `eye` (3,): the same picture, but `before` [m] nearer than the part."""
    share = 1 - before / max(float(np.linalg.norm(place - eye)), 2 * before)
    toward = np.eye(4)
    toward[:3, :3] *= share
    toward[:3, 3] = share * place + (1 - share) * eye
    return toward


def largest(quantity: ArrowQuantity, run: Trajectory, part: int) -> float:
    """Return the largest size of a quantity on a part in a run."""
    sizes = np.linalg.norm(quantity.values(run, part), axis=1)
    return float(np.nanmax(sizes, initial=0.0))


def arrow(heads: int) -> tuple[Array, Any]:
    """Return an arrow along x: points (p, 3) and triangles (t, 3). x is 0 to 1 on the shaft, 2 at
    the tip and 1 + k / heads where head number k begins; y and z in units of its half width."""
    stations = [(0.0, 0.42), (1.0, 0.42)]
    for k in range(heads):
        stations += [
            (1.0 + k / heads, 1.15),
            (1.0 + (k + 1) / heads, 0.0 if k == heads - 1 else 0.3),
        ]
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    ring = np.column_stack([np.zeros(SIDES), np.cos(turn), np.sin(turn)])
    points = np.concatenate([ring * r + (x, 0, 0) for x, r in stations] + [[[0.0, 0, 0]]])
    i = np.arange(SIDES)
    j = (i + 1) % SIDES
    faces = [np.column_stack([np.full(SIDES, len(points) - 1), j, i])]
    for k in range(len(stations) - 1):
        a, b = k * SIDES, (k + 1) * SIDES
        faces += [np.column_stack([a + i, a + j, b + j]), np.column_stack([a + i, b + j, b + i])]
    return points, np.concatenate(faces)


def stretched(x: Array, length: float, head: float) -> Array:
    """Return the x of `arrow` at a true length [m] whose heads together take `head`, or half."""
    head = min(head, 0.5 * length)
    found: Array = np.where(x <= 1, x * (length - head), length - head + (x - 1) * head)
    return found


def frame_along(way: Array) -> Array:
    """Return rows (3, 3): the unit vector `way` and two square to it."""
    least = np.eye(3)[int(np.argmin(np.abs(way)))]
    first = np.cross(way, least)
    first /= np.linalg.norm(first)
    return np.stack([way, first, np.cross(way, first)])
