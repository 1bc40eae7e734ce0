"""Joints as they look on the stage.

What is to be seen of a joint it says itself, as marks (`mechanics.joints.marks`): they show where
it acts, not how it is made. Here they get their size, from the part and the picture; all but a
string, which hangs as its ends have it, are bars and balls that a body carries, in clips and on the
page alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, assert_type

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.mechanics.joints import WORLD, Joint
from snapsim.mechanics.joints.marks import Bar, Collar, Grip, Knob, Line, Pin
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.render.actors import pose_matrix
from snapsim.render.strings import string_line
from snapsim.simulation.system import System

THICK = 0.0045
"""Radius of a string, as a share of the action's size: two pixels on a phone."""


@dataclass(frozen=True)
class Stroke:
    """A bar from `first` to `second` (3,) of some radius [m], a ball where these are one point, in
    the frame of body number `carrier`."""

    carrier: int
    first: Array
    second: Array
    radius: float
    colour: str


class JointMarks:
    """The actors of every joint of a scene; `show` puts them where a moment has them."""

    def __init__(
        self,
        plotter: pv.Plotter,
        system: System,
        pose: Pose,
        size: float,
        axes: Array,
        ground: float,
        parted: Mapping[str, float],
    ) -> None:
        """`axes` (3, 3) are the camera's right, up and backward; `parted` [s] by joint name."""
        self._system, self._ground, self._radius = system, ground, THICK * size
        self._plotter = plotter
        self._lines: list[tuple[Joint, float, pv.PolyData, Any]] = []
        self._bars: list[tuple[int, float, Any]] = []
        sizes = MarkSizes(system, pose, size, axes)
        for joint in system.joints:
            until = parted.get(joint.name, np.inf)
            if joint.slack is not None:
                mesh = _tube(self._line(joint, joint.slack, pose), self._radius)
                self._lines.append((joint, until, mesh, self._add(mesh, palette.STRING)))
            for stroke in sizes.strokes(joint):
                self._bars.append(
                    (stroke.carrier, until, self._add(stroke_mesh(stroke), stroke.colour))
                )

    def show(self, time: float, pose: Pose) -> None:
        """Move everything; what parted by `time` [s] is gone."""
        for joint, until, mesh, actor in self._lines:
            actor.visibility = time < until
            mesh.copy_from(_tube(self._line(joint, joint.slack or 0.0, pose), self._radius))
        for body, until, actor in self._bars:
            actor.visibility = time < until
            actor.user_matrix = _matrix(body, pose)

    def _add(self, mesh: pv.PolyData, colour: str) -> Any:
        actor: Any = self._plotter.add_mesh(
            mesh, color=colour, ambient=0.45, specular=0.2, reset_camera=False
        )
        actor.prop.interpolation = "Phong"  # tubes bring their normals
        return actor

    def _line(self, joint: Joint, length: float, pose: Pose) -> Array:
        first, second = end_points(joint, pose)
        return string_line(first, second, length, self._ground + self._radius)


class MarkSizes:
    """How large and which way round marks are drawn: by the parts, the picture and the camera."""

    def __init__(self, system: System, pose: Pose, size: float, axes: Array) -> None:
        """`size` [m] of the action; `axes` (3, 3) the camera's right, up and backward."""
        self._system, self._pose, self._size, self._axes = system, pose, size, axes
        self._radius = THICK * size

    def strokes(self, joint: Joint) -> list[Stroke]:
        """Return the bars and balls of a joint's marks; none of a line, which changes its form."""
        found: list[Stroke] = []
        for mark in joint.marks:
            if isinstance(mark, Pin):
                found += self._pin(joint, mark)
            elif isinstance(mark, Bar):
                found += self._bar(joint, mark)
            elif isinstance(mark, Knob):
                found += self._knob(joint, mark)
            elif isinstance(mark, Grip):
                found += self._grip(joint, mark)
            elif isinstance(mark, Collar):
                found += self._collar(joint, mark)
            else:
                assert_type(mark, Line)
        return found

    def _pin(self, joint: Joint, mark: Pin) -> list[Stroke]:
        half = max(1.25 * self._reach(joint, mark.end, mark.axis), 0.05 * self._size)
        ends = mark.point - half * mark.axis, mark.point + half * mark.axis
        carrier = joint.bodies[mark.end]
        pin = Stroke(carrier, *ends, 2.4 * self._radius, palette.JOINT)
        return [pin, *self._arm(carrier, mark.point)]

    def _bar(self, joint: Joint, mark: Bar) -> list[Stroke]:
        """As far as the stops or the part go."""
        first, second = end_points(joint, self._pose)
        carrier, point, n = joint.bodies[mark.end], mark.point, mark.axis
        back = self._turn(carrier)
        ahead = first - second if mark.end == 1 else second - first
        now = float(rotations.rotate_back(back, ahead) @ n)
        turn = self._turn(joint.bodies[1 - mark.end])
        along = rotations.rotate_back(turn, rotations.rotate(back, n))
        reach = 1.5 * self._reach(joint, 1 - mark.end, along)
        low, high = mark.stops or (now - 4 * reach, now + 4 * reach)
        ends = point + (low - reach) * n, point + (high + reach) * n
        return [Stroke(carrier, *ends, 1.8 * self._radius, palette.JOINT)]

    def _knob(self, joint: Joint, mark: Knob) -> list[Stroke]:
        carrier, point = joint.bodies[mark.end], mark.point
        ball = Stroke(carrier, point, point, 4.0 * self._radius, palette.JOINT)
        return [ball, *self._arm(carrier, point)]

    def _arm(self, carrier: int, point: Array) -> list[Stroke]:
        """A thin bar from the part's centre to a point that is off it."""
        if carrier == WORLD or np.linalg.norm(point) <= 4 * self._radius:
            return []
        return [Stroke(carrier, np.zeros(3), point, 1.2 * self._radius, palette.JOINT)]

    def _grip(self, joint: Joint, mark: Grip) -> list[Stroke]:
        """A bar out of the part to the side that has room, with a collar and a knob."""
        body, pose, axes = joint.bodies[mark.end], self._pose, self._axes
        held, bodies = pose.position[body], self._system.bodies
        drawn = [b.is_soft if bodies[body].is_magnet else b.is_magnet for b in bodies]
        away = held - pose.position[drawn].mean(axis=0) if any(drawn) else -axes[1]
        side = 1.0 if away @ axes[0] > -1e-9 else -1.0
        way = 0.9 * side * axes[0] + 0.35 * axes[2] + 0.1 * axes[1]
        n = rotations.rotate_back(pose.quaternion[body], way / np.linalg.norm(way))
        surface = mark.point + self._way_out(body, mark.point, n) * n
        end = surface + 0.13 * self._size * n
        collar = surface + 0.012 * self._size * n
        return [
            Stroke(body, mark.point, end, 2.2 * self._radius, palette.HANDLE),
            Stroke(body, surface, collar, 4.5 * self._radius, palette.HANDLE_DARK),
            Stroke(body, end, end, 5.5 * self._radius, palette.HANDLE),
        ]

    def _collar(self, joint: Joint, mark: Collar) -> list[Stroke]:
        half = 0.018 * self._size * np.array([0.0, 0.0, 1.0])
        ends = mark.point - half, mark.point + half
        return [Stroke(joint.bodies[mark.end], *ends, 4.0 * self._radius, palette.JOINT)]

    def _turn(self, body: int) -> Array:
        return rotations.IDENTITY if body == WORLD else self._pose.quaternion[body]

    def _way_out(self, body: int, point: Array, direction: Array) -> float:
        """How far it is from a point of a body's box to the box's surface [m]; 0 outside."""
        box = self._system.bodies[body].shape.extents
        room = (np.sign(direction) * box - point * (direction != 0)) / np.where(
            direction == 0, 1e-9, direction
        )
        return max(float(np.min(room[direction != 0])), 0.0)

    def _reach(self, joint: Joint, end: int, direction: Array) -> float:
        """How far the body at an end goes from its centre along a direction of its own [m], by its
        box; the other end's body where this one is the world."""
        body, other = joint.bodies[end], joint.bodies[1 - end]
        if body == WORLD:
            body, direction = other, rotations.rotate_back(self._turn(other), direction)
        box = self._system.bodies[body].shape.extents
        return float(np.min(box / np.maximum(np.abs(direction), 1e-9)))


def end_points(joint: Joint, pose: Pose) -> tuple[Array, Array]:
    """Return the joint's point on each of its two ends (3,), world axes [m]."""
    found = [
        point
        if body == WORLD
        else pose.position[body] + rotations.rotate(pose.quaternion[body], point)
        for body, point in zip(joint.bodies, joint.points, strict=True)
    ]
    return found[0], found[1]


def _matrix(body: int, pose: Pose) -> Array:
    return np.eye(4) if body == WORLD else pose_matrix(pose.position[body], pose.quaternion[body])


def stroke_mesh(stroke: Stroke) -> pv.PolyData:
    """Return a stroke's surface, with its normals."""
    if np.array_equal(stroke.first, stroke.second):
        return pv.Sphere(radius=stroke.radius, center=stroke.first)
    line = pv.Line(stroke.first, stroke.second)
    bar: pv.PolyData = line.tube(radius=stroke.radius, n_sides=20, capping=True)
    return bar


def _tube(line: Array, radius: float) -> pv.PolyData:
    path = pv.PolyData(line)
    path.lines = np.r_[len(line), np.arange(len(line))]
    tube: pv.PolyData = path.tube(radius=radius, n_sides=12, capping=True)
    return tube
