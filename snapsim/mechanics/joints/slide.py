"""Slide: a body on a rail moves along one line and does not turn against the rail's other end.

    t1.d = t2.d = 0,    turn of a against b unchanged (3 rows),    low <= s <= high,    s = n.d

d = x_a - x_b from the second body's point to the first's, n the rail's axis and t1, t2 across it,
fixed in the first body: d(t.d)/dt = t.(v_a - v_b at the points) + (w_a x t).d. Friction is
Coulomb's on the force across the rail, |F| <= mu hypot(p_1, p_2); what a tilting moment adds is
left out, since it depends on how long the bearing is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.joints.contract import (
    NO_ROWS,
    Joint,
    Rows,
    Side,
    centripetal,
    cross,
    joined,
    lever,
    perpendiculars,
    rows,
    turn_jacobian,
)
from snapsim.mechanics.joints.marks import Bar, Mark
from snapsim.numerics import rotations


@dataclass(frozen=True)
class Slide(Joint):
    """`axis` (3,) unit, in the first body; `turn` (4,) of the second body in the first one's
    frame; `stops` [m] of the first body's point ahead of the second's; `friction` coefficient."""

    kind: ClassVar[str] = "slide"

    axis: Array = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    turn: Array = field(default_factory=lambda: rotations.IDENTITY)
    stops: tuple[float, float] | None = None
    friction: float = 0.0

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The rail, in the second body's frame."""
        axis = rotations.rotate_back(self.turn, self.axis)
        return (Bar(1, self.points[1], axis, self.stops),)

    def equalities(self, a: Side, b: Side, time: float) -> Rows:
        """Return two rows across the rail and three of the turn."""
        t1, t2 = perpendiculars(self.axis)
        wanted = rotations.multiply(b.quaternion, rotations.conjugate(self.turn))
        turn = rotations.vector_between(wanted, a.quaternion)
        return joined(
            [
                self._along(a, b, t1),
                self._along(a, b, t2),
                rows(turn_jacobian(np.eye(3)), turn, np.zeros(3)),
            ]
        )

    def inequalities(self, a: Side, b: Side) -> Rows:
        """Return the two stops."""
        if self.stops is None:
            return NO_ROWS
        run = self._along(a, b, self.axis)
        jacobian = np.concatenate([run.jacobian, -run.jacobian])
        gap = np.array([run.error[0] - self.stops[0], self.stops[1] - run.error[0]])
        return rows(jacobian, gap, np.array([run.bias[0], -run.bias[0]]))

    def friction_row(self, a: Side, b: Side) -> Rows:
        """Return the travel along the rail where it rubs."""
        return self._along(a, b, self.axis) if self.friction > 0 else NO_ROWS

    def friction_limit(self, multiplier: Array) -> float:
        """Return mu times the force across the rail [N]."""
        return self.friction * float(np.hypot(multiplier[0], multiplier[1]))

    def _along(self, a: Side, b: Side, direction: Array) -> Rows:
        """Return the row of e.d for a direction e (3,) of the first body."""
        e = a.turn @ direction
        arm_a, arm_b = lever(a, self.points[0]), lever(b, self.points[1])
        d = a.position + arm_a - b.position - arm_b
        slip = a.velocity + cross(a.spin, arm_a) - b.velocity - cross(b.spin, arm_b)
        swing = cross(a.spin, e)
        bias = e @ (centripetal(a, arm_a) - centripetal(b, arm_b))
        bias += 2 * swing @ slip + cross(a.spin, swing) @ d
        jacobian = np.concatenate([e, cross(arm_a - d, e), -e, -cross(arm_b, e)])
        return rows(jacobian[None], np.array([e @ d]), np.array([bias]))


def slide(
    name: str,
    bodies: tuple[int, int],
    points: Array,
    axis: Array,
    a: Side,
    b: Side,
    *,
    stops: tuple[float, float] | None = None,
    friction: float = 0.0,
    restitution: float = 0.0,
) -> Slide:
    """Return the slide along `axis` (3,) of the first body, made as the sides stand now."""
    turn = rotations.multiply(rotations.conjugate(a.quaternion), b.quaternion)
    return Slide(
        name,
        bodies,
        points,
        restitution=restitution,
        axis=axis,
        turn=turn,
        stops=stops,
        friction=friction,
    )
