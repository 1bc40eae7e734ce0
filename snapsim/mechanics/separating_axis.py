"""A lower bound of the gap between two solids from their widths along a few directions.

    gap >= n . (x_a - x_b) - w_a(-n) - w_b(n),    w(n) = max over a solid's points p of n . (p - x)

for every unit n (3,), x (3,) [m] the centres: a plane square to n lies between the two wherever the
right side is above zero (separating axes; Ericson, Real-Time Collision Detection, 2005, section
5.2.1, from memory). Tried are both bodies' axes, the sides of their profiles, the line of centres
and the way from each body's box to the other's centre, which part what lies, stands or leans on a
face. Widths are exact, of the same solids that `contact` measures; the bound is the gap itself
where faces or a face and a corner meet, too low where no tried direction parts the two, and that
of the balls round both where these do. Plain numpy: what a scene needs to be read loads no compiled
code.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Outline, Revolution, Shape
from snapsim.parts.shapes.pieces import FACETS
from snapsim.parts.states import Pose


def gap_bound(bodies: tuple[Body, Body], pose: Pose) -> float:
    """Return a lower bound of the gap [m] of two bodies at their places, two rows of `pose`."""
    first, second = (body.shape for body in bodies)
    offset = pose.position[0] - pose.position[1]
    apart = float(np.linalg.norm(offset))
    balls = apart - float(np.linalg.norm(first.extents) + np.linalg.norm(second.extents))
    if balls > 0:
        return balls
    a, b = rotations.matrix(pose.quaternion)
    ways = [_sides(first) @ a.T, _sides(second) @ b.T, _beside(first, a, -offset)]
    ways.append(_beside(second, b, offset))
    n = np.concatenate(ways)
    n = n[n @ offset > 0]
    if not len(n):
        return -np.inf
    bounds = n @ offset - widths(first, -n @ a) - widths(second, n @ b)
    return float(bounds.max())


def widths(shape: Shape, directions: Array) -> Array:
    """Return how far a solid reaches from its origin along each of `directions` (k, 3), body axes,
    times their length: (k,) [m]."""
    if shape.outline is not None:
        return _extrusion_widths(shape.outline, directions)
    if shape.revolution is Revolution.CENTRE:
        return np.asarray(shape.extents[0] * np.linalg.norm(directions, axis=1))
    if shape.members:
        each = [
            m.position @ directions.T + widths(m.shape, directions @ m.turn) for m in shape.members
        ]
        return np.asarray(np.max(each, axis=0))
    corners, _ = shape.surface(FACETS)
    return np.asarray((directions @ corners.T).max(axis=1))


def _extrusion_widths(outline: Outline, directions: Array) -> Array:
    flat = directions[:, :2]
    across = outline.radius * np.linalg.norm(flat, axis=1)
    if outline.polygon.size:
        across = (flat @ outline.polygon.T).max(axis=1)
    return np.asarray(across + outline.half_length * np.abs(directions[:, 2]))


def _sides(shape: Shape) -> Array:
    """Unit normals (k, 3), body axes: of a solid's box, of its profile's sides and its members'."""
    found = [np.eye(3), -np.eye(3)]
    if shape.outline is not None and shape.outline.polygon.size:
        polygon = shape.outline.polygon
        along = np.roll(polygon, -1, axis=0) - polygon
        normal = np.column_stack([along[:, 1], -along[:, 0], np.zeros(len(along))])
        found.append(normal / np.linalg.norm(normal, axis=1)[:, None])
    found += [_sides(m.shape) @ m.turn.T for m in shape.members]
    return np.concatenate(found)


def _beside(shape: Shape, turn: Array, offset: Array) -> Array:
    """Directions (k, 3), world axes, along or against `offset` (3,) [m] from the centre of a solid
    to another: the whole way, the way square to its axis, and the way from its box."""
    away = offset @ turn
    beyond = away - np.clip(away, -shape.extents, shape.extents)
    ways = np.array([away, [away[0], away[1], 0.0], beyond])
    length = np.linalg.norm(ways, axis=1)
    ways = ways[length > 0] / length[length > 0][:, None]
    found: Array = np.concatenate([ways, -ways]) @ turn.T
    return found
