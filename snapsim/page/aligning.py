"""Bringing a part into line: flat on the nearest face of another body, before a pole's middle.

A face is what lies in one plane of a body's surface. A part is laid flat by the smallest turn that
makes one of its own faces look into the other, then straight on until they touch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import CLEAR, at_gap
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.simulation.system import System

FINENESS = 48
"""Straight pieces of a full circle: a curved side must not pass for a face."""

LEAST_SHARE = 0.04
"""Least area of a face over the body's largest one; what is smaller is a curved side's facet."""

SAME_PLANE = 1e-6
"""Cosine and share of a body's size within which triangles lie in one plane."""


@dataclass(frozen=True)
class Face:
    """`triangles` (k, 3, 3) [m] in one plane, and its outward unit `normal` (3,)."""

    triangles: Array
    normal: Array

    def distance(self, point: Array) -> float:
        """Return how far [m] a point (3,) is from the face."""
        from trimesh.triangles import closest_point

        many = np.repeat(point[None], len(self.triangles), axis=0)
        near: Array = closest_point(self.triangles, many)  # type: ignore[no-untyped-call]
        return float(np.linalg.norm(near - point, axis=1).min())

    def height(self, point: Array) -> float:
        """Return how far [m] a point is before its plane."""
        return float((point - self.triangles[0, 0]) @ self.normal)


def faces(body: Body, place: Place) -> list[Face]:
    """Return the flat faces of a body at a place, world axes; none for a ball."""
    corners, order = body.shape.surface(FINENESS)
    triangles = (rotations.rotate(place.quaternion, corners) + place.position)[order]
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    area = np.linalg.norm(across, axis=1) / 2
    kept = area > 0
    triangles, area = triangles[kept], area[kept]
    normal = across[kept] / (2 * area[:, None])
    size = float(np.linalg.norm(body.shape.extents))
    planes: list[list[int]] = []
    for k in range(len(triangles)):
        for plane in planes:
            first = plane[0]
            level = (triangles[k, 0] - triangles[first, 0]) @ normal[first]
            if normal[k] @ normal[first] > 1 - SAME_PLANE and abs(level) < SAME_PLANE * size:
                plane.append(k)
                break
        else:
            planes.append([k])
    areas = np.array([area[p].sum() for p in planes])
    return [
        Face(triangles[p], normal[p[0]])
        for p, whole in zip(planes, areas, strict=True)
        if whole >= LEAST_SHARE * area.sum() and not _curved(body, normal[p[0]], place)
    ]


def _curved(body: Body, normal: Array, place: Place) -> bool:
    """Whether a facet is one of a round side."""
    outline = body.shape.outline
    along = abs(float(rotations.rotate_back(place.quaternion, normal)[2]))
    return outline is not None and outline.radius > 0 and along < 0.5


def laid_flat(system: System, part: int, place: Place) -> Place:
    """Return the place flat on the face of another body that is nearest; raises InputError."""
    constraints = Constraints(system, part)
    mine = faces(system.bodies[part], place)
    if not mine:
        raise InputError(f'"{system.bodies[part].name}" has no flat face', key="pose")
    other, face = _nearest_face(system, constraints, place)
    own = min(mine, key=lambda f: float(f.normal @ face.normal))
    turn = _least_turn(own.normal, -face.normal)
    turned = rotations.normalise(rotations.multiply(turn, place.quaternion))
    counted = constraints.others == other
    clear = float(np.linalg.norm(system.bodies[part].shape.extents))
    rise = max(0.0, clear + CLEAR - face.height(place.position))
    before = Place(place.position + rise * face.normal, turned)
    found = at_gap(constraints, before, -face.normal, counted, CLEAR)
    if found is None:
        name = system.bodies[other].name
        raise InputError(f'does not come to lie on "{name}" straight before its face', key="pose")
    return _unobstructed(system, constraints, found)


def before_pole(system: System, part: int, place: Place) -> Place:
    """Return the place moved across until the part's centre is on the middle line of the nearest
    magnet's poles, the gap kept where it would else be inside; raises InputError."""
    constraints = Constraints(system, part)
    magnets = np.array([system.bodies[int(i)].is_magnet for i in constraints.others], bool)
    if not magnets.any():
        raise InputError("there is no magnet whose pole it could stand before", key="pose")
    gaps = np.where(magnets, constraints.gaps(place), np.inf)
    number = int(constraints.others[int(np.argmin(gaps))])
    magnet, pose = system.bodies[number], system.start.pose
    own = np.array([0.0, 0.0, 1.0]) if magnet.magnetised is None else magnet.magnetised
    axis = rotations.rotate(pose.quaternion[number], own)
    away = place.position - pose.position[number]
    along = float(away @ axis)
    found = Place(pose.position[number] + along * axis, place.quaternion)
    counted = constraints.others == number
    if float(constraints.gaps(found)[counted].min()) < CLEAR:
        out = axis if along >= 0 else -axis
        moved = at_gap(constraints, found, -out, counted, max(float(gaps.min()), CLEAR))
        if moved is None:
            raise InputError("no place before the pole was found", key="pose")
        found = moved
    return _unobstructed(system, constraints, found)


def _nearest_face(system: System, constraints: Constraints, place: Place) -> tuple[int, Face]:
    """The number of the body and its face, of those that the part's centre is before."""
    pose, best = system.start.pose, None
    for number in map(int, constraints.others):
        there = Place(pose.position[number], pose.quaternion[number])
        for face in faces(system.bodies[number], there):
            if face.height(place.position) > 0:
                far = face.distance(place.position)
                if best is None or far < best[0] - SAME_PLANE:
                    best = far, number, face
    if best is None:
        raise InputError("no other body has a flat face that it stands before", key="pose")
    return best[1], best[2]


def _least_turn(one: Array, other: Array) -> Array:
    """The quaternion (4,) of the smallest turn that brings a unit vector onto another."""
    cross, cosine = np.cross(one, other), float(one @ other)
    if cosine < -1 + 1e-12:
        aside = np.eye(3)[int(np.argmin(np.abs(one)))]
        return rotations.from_axis_angle(np.cross(one, aside), np.pi)
    return rotations.normalise(np.concatenate([[1 + cosine], cross]))


def _unobstructed(system: System, constraints: Constraints, place: Place) -> Place:
    """The place, unless the part would be inside another body there."""
    gaps = constraints.gaps(place)
    worst = int(np.argmin(gaps))
    if gaps[worst] < -CLEAR:
        name = system.bodies[int(constraints.others[worst])].name
        raise InputError(f'"{name}" is in the way there; move it first', key="pose")
    return place
