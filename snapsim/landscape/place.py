"""One body's pose and small changes of it: the coordinates of the energy landscape.

A change d (6,) is a displacement [m] of the centre of mass and a rotation vector [rad], both in
world axes: x -> x + d[:3], R -> exp(d[3:]) R. Lengths of changes are measured by kinetic energy,

    |d|^2 = |d[:3]|^2 + d[3:].(I/m) d[3:]        [m^2]

I/m (3, 3) [m^2] the inertia tensor over the mass, world axes: sqrt(m) |d| per time is the square
root of twice the kinetic energy of that motion. On the exponential coordinates of rotations: Lynch
& Park, Modern Robotics, 2017, section 3.2.3 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose


@dataclass(frozen=True)
class Place:
    """Where one body is: `position` (3,) of its centre of mass [m], `quaternion` (4,) unit."""

    position: Array
    quaternion: Array


def with_one_at(pose: Pose, number: int, place: Place) -> Pose:
    """Return the pose of all bodies with body `number` at `place`."""
    position, quaternion = pose.position.copy(), pose.quaternion.copy()
    position[number], quaternion[number] = place.position, place.quaternion
    return Pose(position, quaternion)


def moved(place: Place, change: Array) -> Place:
    """Return the place after a change (6,) [m, rad]."""
    turn = rotations.from_rotation_vector(change[3:])
    quaternion = rotations.normalise(rotations.multiply(turn, place.quaternion))
    return Place(place.position + change[:3], quaternion)


def difference(place: Place, origin: Place) -> Array:
    """Return the change (6,) [m, rad] that leads from `origin` to `place`, the short way."""
    turn = rotations.vector_between(origin.quaternion, place.quaternion)
    return np.concatenate([place.position - origin.position, turn])


def between(one: Place, other: Place, share: float) -> Place:
    """Return the place at a share 0..1 of the way from `one` to `other`."""
    return moved(one, share * difference(other, one))


def turned_about(place: Place, point: Array, vector: Array) -> Place:
    """Return the place after turning by a rotation vector (3,) [rad] about a fixed point (3,)."""
    turn = rotations.from_rotation_vector(vector)
    arm = rotations.rotate(turn, place.position - point)
    return Place(point + arm, rotations.normalise(rotations.multiply(turn, place.quaternion)))


def metric(body: Body, place: Place) -> Array:
    """Return the matrix (6, 6) of |d|^2: identity, and inertia over mass in world axes [m^2]."""
    turn = rotations.matrix(place.quaternion)
    found = np.eye(6)
    found[3:, 3:] = turn @ body.shape.gyration @ turn.T
    return found


def length(change: Array, measure: Array) -> float:
    """Return |d| [m] of a change (6,) by a `metric` (6, 6)."""
    return float(np.sqrt(np.maximum(change @ measure @ change, 0.0)))


def axis_from_vertical(place: Place) -> float:
    """Return the angle [rad] between the body's z axis and the vertical, 0 to a right angle."""
    upright = abs(float(rotations.matrix(place.quaternion)[2, 2]))
    return float(np.arccos(min(1.0, upright)))
