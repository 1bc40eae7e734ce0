"""Joints: what every kind gives the motion, as rows of constraints on velocities.

    equality     J u = r(t),     dJ/dt u + J du/dt = dr/dt,    error(pose, t) = 0
    inequality   gap(pose) >= 0, d(gap)/dt = J u,              reaction >= 0 only where gap = 0

u (12,) = velocity and spin of the first body, then of the second, world axes [m/s, rad/s]; J (m,
12) with columns for these; bias (m,) = dJ/dt u; r (m,) a rate given from outside (a hand's path;
zero elsewhere) and dr/dt its acceleration. A multiplier p of the rows acts on the bodies as the
force and torque J^T p, force [N] where a row is a length, torque [N m] where it is an angle.
Valid for rigid bodies and massless, rigid joints. Source: Shabana, Dynamics of Multibody Systems,
4th ed. 2013, chapter 3 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.joints.marks import Collar, Mark
from snapsim.numerics import rotations

WORLD = -1
"""The body number of the unmoving surroundings, whose frame is the world's."""


@dataclass(frozen=True)
class Side:
    """One end's body now: `position` (3,) of the centre of mass, `quaternion` (4,), its matrix
    `turn` (3, 3), `velocity` and `spin` (3,), world axes."""

    position: Array
    quaternion: Array
    turn: Array
    velocity: Array
    spin: Array


STILL = Side(np.zeros(3), rotations.IDENTITY, np.eye(3), np.zeros(3), np.zeros(3))
"""The world as a side."""


@dataclass(frozen=True)
class Rows:
    """m constraint rows: `jacobian` (m, 12), `error`, `bias`, `rate`, `acceleration` (m,).

    `error` is the misfit of an equality, or the gap of an inequality [m or rad].
    """

    jacobian: Array
    error: Array
    bias: Array
    rate: Array
    acceleration: Array

    def __len__(self) -> int:
        return len(self.error)


def rows(
    jacobian: Array,
    error: Array,
    bias: Array,
    rate: Array | None = None,
    acceleration: Array | None = None,
) -> Rows:
    """Return rows; without `rate` and `acceleration` they are at rest (zero)."""
    zero = np.zeros(len(error))
    return Rows(
        jacobian,
        error,
        bias,
        zero if rate is None else rate,
        zero if acceleration is None else acceleration,
    )


def joined(parts: list[Rows]) -> Rows:
    """Return the rows of several, in order."""
    if not parts:
        return NO_ROWS
    return Rows(
        np.concatenate([p.jacobian for p in parts]),
        np.concatenate([p.error for p in parts]),
        np.concatenate([p.bias for p in parts]),
        np.concatenate([p.rate for p in parts]),
        np.concatenate([p.acceleration for p in parts]),
    )


NO_ROWS = rows(np.zeros((0, 12)), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Joint:
    """What all kinds share; a kind overrides the rows that it has.

    `bodies`: numbers of the first and the second body, WORLD for the surroundings. `points` (2,
    3): where it is fastened, in each body's own frame [m]. It parts at the time `until` [s], or
    when its force or torque passes its limit [N, N m]. `restitution` holds where an inequality
    closes with a blow.
    """

    kind: ClassVar[str] = "joint"

    name: str
    bodies: tuple[int, int]
    points: Array
    until: float = np.inf
    force_limit: float = np.inf
    torque_limit: float = np.inf
    restitution: float = 0.0

    @property
    def yields(self) -> bool:
        """True where it is too soft to take part in a blow, which it does not outlast."""
        return False

    @property
    def times(self) -> tuple[float, ...]:
        """Moments at which its law changes [s]: the motion stops and starts again there."""
        return (self.until,) if np.isfinite(self.until) else ()

    @property
    def carries(self) -> bool:
        """True for what only keeps a part until it is released: a landscape leaves it out."""
        return False

    @property
    def pivots(self) -> bool:
        """True where a body turns about its point."""
        return False

    @property
    def turning_axis(self) -> Array | None:
        """The one axis (3,) that it lets the bodies turn about, in the first; None without one."""
        return None

    @property
    def slack(self) -> float | None:
        """How far apart its ends may be [m], for a line that pulls and never pushes; else None."""
        return None

    @property
    def marks(self) -> tuple[Mark, ...]:
        """What is to be seen of it; a collar where a kind says nothing."""
        return (Collar(0, self.points[0]),)

    def equalities(self, a: Side, b: Side, time: float) -> Rows:
        """Return the rows that always hold while the joint lasts."""
        return NO_ROWS

    def inequalities(self, a: Side, b: Side) -> Rows:
        """Return the one-sided rows; `error` is the gap."""
        return NO_ROWS

    def with_loads(self, share: float) -> Self:
        """Return the joint with all forces and torques that are its own times a share."""
        force, torque = share * self.force_limit, share * self.torque_limit
        return replace(self, force_limit=force, torque_limit=torque)

    def friction_row(self, a: Side, b: Side) -> Rows:
        """Return the one row along which the joint rubs, or none."""
        return NO_ROWS

    def friction_limit(self, multiplier: Array) -> float:
        """Return the largest friction [N or N m] under the multipliers of the equalities (m,)."""
        return 0.0


# -- rows that several kinds are made of ---------------------------------------------------------


def cross(a: Array, b: Array) -> Array:
    """Return a x b of two vectors (3,)."""
    (u, v, w), (x, y, z) = a.tolist(), b.tolist()
    return np.array([v * z - w * y, w * x - u * z, u * y - v * x])


def perpendiculars(axis: Array) -> tuple[Array, Array]:
    """Return two unit vectors t1, t2 (3,) with t1 x t2 = axis, a unit vector."""
    least = np.zeros(3)
    least[int(np.argmin(np.abs(axis)))] = 1.0
    t1 = cross(axis, least)
    t1 = t1 / np.linalg.norm(t1)
    return t1, cross(axis, t1)


def lever(side: Side, point: Array) -> Array:
    """Return the arm (3,) from the centre of mass to a point of the body, world axes [m]."""
    arm: Array = side.turn @ point
    return arm


def centripetal(side: Side, arm: Array) -> Array:
    """Return w x (w x arm) (3,) [m/s^2]."""
    return cross(side.spin, cross(side.spin, arm))


def point_jacobian(arm_a: Array, arm_b: Array) -> Array:
    """Return (3, 12): velocity of a point of the first body relative to one of the second."""
    (x, y, z), (u, v, w) = arm_a.tolist(), arm_b.tolist()
    return np.array(
        [
            [1.0, 0.0, 0.0, 0.0, z, -y, -1.0, 0.0, 0.0, 0.0, -w, v],
            [0.0, 1.0, 0.0, -z, 0.0, x, 0.0, -1.0, 0.0, w, 0.0, -u],
            [0.0, 0.0, 1.0, y, -x, 0.0, 0.0, 0.0, -1.0, -v, u, 0.0],
        ]
    )


def turn_jacobian(directions: Array) -> Array:
    """Return (m, 12): spin of the first relative to the second body along directions (m, 3)."""
    zero = np.zeros_like(directions)
    return np.concatenate([zero, directions, zero, -directions], axis=1)


def coincidence(a: Side, b: Side, points: Array) -> Rows:
    """Return three rows that keep a point of each body together."""
    arm_a, arm_b = lever(a, points[0]), lever(b, points[1])
    apart = a.position + arm_a - b.position - arm_b
    return rows(point_jacobian(arm_a, arm_b), apart, centripetal(a, arm_a) - centripetal(b, arm_b))
