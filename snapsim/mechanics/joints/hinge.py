"""Hinge: two bodies share a point and an axis; stops and bearing friction are optional.

    x_a = x_b (3 rows),    t1.n = t2.n = 0 (2 rows),    low <= angle <= high,    |T_f| <= T

n the axis, fixed in the first body; t1, t2 the directions across it, fixed in the second, so
d(t.n)/dt = (n x t).(w_a - w_b). The angle of the first body against the second is taken about n,
right-handed, from the pose in which the hinge was made. Bearing friction is a constant torque T
(Coulomb) against the turning; the bearing itself neither bends nor has play.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import ClassVar, Self

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.joints.contract import (
    NO_ROWS,
    Joint,
    Rows,
    Side,
    coincidence,
    cross,
    perpendiculars,
    rows,
    turn_jacobian,
)
from snapsim.mechanics.joints.marks import Mark, Pin


@dataclass(frozen=True)
class Hinge(Joint):
    """`axis` (3,) unit, in the first body; `across` (2, 3) in the second, both at the start;
    `mark` (3,) in the first, along across[0] at the start; `stops` [rad]; `friction_torque`."""

    kind: ClassVar[str] = "hinge"

    axis: Array = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    mark: Array = field(default_factory=lambda: np.array([1.0, 0.0, 0.0]))
    across: Array = field(default_factory=lambda: np.eye(3)[:2])
    stops: tuple[float, float] | None = None
    friction_torque: float = 0.0

    @property
    def pivots(self) -> bool:
        """The bodies turn about its point."""
        return True

    @property
    def turning_axis(self) -> Array:
        """The hinge's own."""
        return self.axis

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The pin."""
        return (Pin(0, self.points[0], self.axis),)

    def equalities(self, a: Side, b: Side, time: float) -> Rows:
        """Return three rows of the common point and two of the common axis."""
        n, spin = a.turn @ self.axis, a.spin - b.spin
        point, swung = coincidence(a, b, self.points), cross(a.spin, n)
        jacobian, error, bias = np.zeros((5, 12)), np.empty(5), np.empty(5)
        jacobian[:3], error[:3], bias[:3] = point.jacobian, point.error, point.bias
        for k, t in enumerate(self.across @ b.turn.T, start=3):
            turn = cross(n, t)
            jacobian[k, 3:6], jacobian[k, 9:] = turn, -turn
            error[k] = t @ n
            bias[k] = (cross(swung, t) + cross(n, cross(b.spin, t))) @ spin
        return rows(jacobian, error, bias)

    def angle(self, a: Side, b: Side) -> float:
        """Return the angle [rad] in -pi..pi."""
        mark, across = a.turn @ self.mark, self.across @ b.turn.T
        return float(np.arctan2(across[1] @ mark, across[0] @ mark))

    def inequalities(self, a: Side, b: Side) -> Rows:
        """Return the two stops."""
        if self.stops is None:
            return NO_ROWS
        turning, angle = self._turning(a, b), self.angle(a, b)
        jacobian = np.concatenate([turning.jacobian, -turning.jacobian])
        gap = np.array([angle - self.stops[0], self.stops[1] - angle])
        return rows(jacobian, gap, np.array([turning.bias[0], -turning.bias[0]]))

    def with_loads(self, share: float) -> Self:
        """The bearing's friction with them."""
        return replace(super().with_loads(share), friction_torque=share * self.friction_torque)

    def friction_row(self, a: Side, b: Side) -> Rows:
        """Return the turning about the axis where the bearing rubs."""
        return self._turning(a, b) if self.friction_torque > 0 else NO_ROWS

    def friction_limit(self, multiplier: Array) -> float:
        """Return the bearing's friction torque [N m]."""
        return self.friction_torque

    def _turning(self, a: Side, b: Side) -> Rows:
        n = a.turn @ self.axis
        bias = cross(a.spin, n) @ (a.spin - b.spin)
        return rows(turn_jacobian(n[None]), np.zeros(1), np.array([bias]))


def hinge(
    name: str,
    bodies: tuple[int, int],
    points: Array,
    axis: Array,
    a: Side,
    b: Side,
    *,
    stops: tuple[float, float] | None = None,
    friction_torque: float = 0.0,
    restitution: float = 0.0,
) -> Hinge:
    """Return the hinge about `axis` (3,) of the first body, made as the sides stand now."""
    t1, t2 = perpendiculars(axis)
    across = np.stack([t1, t2]) @ a.turn.T @ b.turn
    return Hinge(
        name,
        bodies,
        points,
        restitution=restitution,
        axis=axis,
        mark=t1,
        across=across,
        stops=stops,
        friction_torque=friction_torque,
    )
