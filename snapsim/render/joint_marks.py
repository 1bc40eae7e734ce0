"""Joints as they look on the stage: strings, hinge pins, rails, hands and clamps.

A string is a line from end to end, gone once it has parted. A hinge is a pin along its axis, with a
thin arm to the part where the pin lies outside it. A rail is a bar along the slide. A hand is a
handle with a knob that stands out of the part it carries; a clamp is a small collar. All are
marks: they show where a joint acts, not how it is made.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.mechanics.joints import WORLD, Hinge, Hold, Joint, Slide, String
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.render.actors import pose_matrix
from snapsim.render.strings import string_line
from snapsim.simulation.system import System

THICK = 0.0045
"""Radius of a string, as a share of the action's size: two pixels on a phone."""


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
        self._parted = [parted.get(joint.name, np.inf) for joint in system.joints]
        self._strings: dict[int, tuple[pv.PolyData, Any]] = {}
        self._marks: dict[int, tuple[int, list[Any]]] = {}
        for number, joint in enumerate(system.joints):
            if isinstance(joint, String):
                self._strings[number] = self._add_string(joint, pose)
            else:
                meshes = self._meshes(joint, pose, size, axes)
                body = joint.bodies[1] if isinstance(joint, Slide) else joint.bodies[0]
                self._marks[number] = body, [self._add(mesh, c) for mesh, c in meshes]

    def show(self, time: float, pose: Pose) -> None:
        """Move everything; what parted by `time` [s] is gone."""
        for number, (mesh, actor) in self._strings.items():
            joint = self._system.joints[number]
            assert isinstance(joint, String)
            actor.visibility = time < self._parted[number]
            mesh.copy_from(_tube(self._line(joint, pose), self._radius))
        for number, (body, actors) in self._marks.items():
            matrix = _matrix(body, pose)
            for actor in actors:
                actor.visibility = time < self._parted[number]
                actor.user_matrix = matrix

    def _add(self, mesh: pv.PolyData, colour: str) -> Any:
        actor: Any = self._plotter.add_mesh(
            mesh, color=colour, ambient=0.45, specular=0.2, reset_camera=False
        )
        actor.prop.interpolation = "Phong"  # tubes bring their normals
        return actor

    def _add_string(self, joint: String, pose: Pose) -> tuple[pv.PolyData, Any]:
        mesh = _tube(self._line(joint, pose), self._radius)
        return mesh, self._add(mesh, palette.STRING)

    def _line(self, joint: String, pose: Pose) -> Array:
        first, second = end_points(joint, pose)
        return string_line(first, second, joint.length, self._ground + self._radius)

    def _meshes(
        self, joint: Joint, pose: Pose, size: float, axes: Array
    ) -> list[tuple[pv.PolyData, str]]:
        """Return meshes in the frame of the body that carries them, and their colours."""
        if isinstance(joint, Hinge):
            return self._pin(joint, size)
        if isinstance(joint, Slide):
            return self._rail(joint, pose)
        assert isinstance(joint, Hold)
        carried = joint.yields or len(joint.time) > 1
        return self._handle(joint, pose, size, axes) if carried else self._collar(joint, size)

    def _pin(self, joint: Hinge, size: float) -> list[tuple[pv.PolyData, str]]:
        point, n = joint.points[0], joint.axis
        half = max(1.25 * self._reach(joint.bodies[0], n), 0.05 * size)
        pin = _bar(point - half * n, point + half * n, 2.4 * self._radius)
        found = [(pin, palette.JOINT)]
        inside = np.zeros(3)
        if np.linalg.norm(point) > 4 * self._radius:
            found.append((_bar(inside, point, 1.2 * self._radius), palette.JOINT))
        return found

    def _rail(self, joint: Slide, pose: Pose) -> list[tuple[pv.PolyData, str]]:
        """A bar along the axis in the second body's frame, as far as the stops or the part go."""
        n = rotations.rotate_back(joint.turn, joint.axis)
        first, second = end_points(joint, pose)
        carrier = joint.bodies[1]
        back = rotations.IDENTITY if carrier == WORLD else pose.quaternion[carrier]
        now = float(rotations.rotate_back(back, first - second) @ n)
        reach = 1.5 * self._reach(joint.bodies[0], joint.axis)
        low, high = joint.stops or (now - 4 * reach, now + 4 * reach)
        point = joint.points[1]
        bar = _bar(point + (low - reach) * n, point + (high + reach) * n, 1.8 * self._radius)
        return [(bar, palette.JOINT)]

    def _handle(
        self, joint: Hold, pose: Pose, size: float, axes: Array
    ) -> list[tuple[pv.PolyData, str]]:
        """A bar out of the part to the side that has room, with a collar and a knob."""
        body = joint.bodies[0]
        held, bodies = pose.position[body], self._system.bodies
        drawn = [b.is_soft if bodies[body].is_magnet else b.is_magnet for b in bodies]
        away = held - pose.position[drawn].mean(axis=0) if any(drawn) else -axes[1]
        side = 1.0 if away @ axes[0] > -1e-9 else -1.0
        way = 0.9 * side * axes[0] + 0.35 * axes[2] + 0.1 * axes[1]
        n = rotations.rotate_back(pose.quaternion[body], way / np.linalg.norm(way))
        point = joint.points[0]
        surface = point + self._way_out(body, point, n) * n
        end = surface + 0.13 * size * n
        return [
            (_bar(point, end, 2.2 * self._radius), palette.HANDLE),
            (_bar(surface, surface + 0.012 * size * n, 4.5 * self._radius), palette.HANDLE_DARK),
            (pv.Sphere(radius=5.5 * self._radius, center=end), palette.HANDLE),
        ]

    def _collar(self, joint: Hold, size: float) -> list[tuple[pv.PolyData, str]]:
        point, z = joint.points[0], np.array([0.0, 0.0, 1.0])
        half = 0.018 * size
        return [(_bar(point - half * z, point + half * z, 4.0 * self._radius), palette.JOINT)]

    def _way_out(self, body: int, point: Array, direction: Array) -> float:
        """How far it is from a point of a body's box to the box's surface [m]; 0 outside."""
        box = self._system.bodies[body].shape.extents
        room = (np.sign(direction) * box - point * (direction != 0)) / np.where(
            direction == 0, 1e-9, direction
        )
        return max(float(np.min(room[direction != 0])), 0.0)

    def _reach(self, body: int, direction: Array) -> float:
        """How far a body goes from its centre along a direction of its own [m], by its box."""
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


def _bar(first: Array, second: Array, radius: float) -> pv.PolyData:
    bar: pv.PolyData = pv.Line(first, second).tube(radius=radius, n_sides=20, capping=True)
    return bar


def _tube(line: Array, radius: float) -> pv.PolyData:
    path = pv.PolyData(line)
    path.lines = np.r_[len(line), np.arange(len(line))]
    tube: pv.PolyData = path.tube(radius=radius, n_sides=12, capping=True)
    return tube
