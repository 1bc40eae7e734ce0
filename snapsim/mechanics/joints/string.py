"""String: two points are never farther apart than its length; it pulls when taut, never pushes.

    gap = length - |d| >= 0,    d = x_a - x_b,    d(gap)/dt = -e.(v_a - v_b),    e = d/|d|
    d2(gap)/dt2 = -e.(a_a - a_b) - |across|^2/|d|

with v, a at the points and `across` the part of the relative velocity across the string. Massless,
does not stretch, passes through everything. It becomes taut with a blow of its restitution (0
takes the whole closing speed, 1 returns it). Its breaking load is held against the steady tension
only: a blow in a string that does not stretch has an impulse but no force.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.mechanics.joints.contract import Joint, Rows, Side, centripetal, cross, lever, rows
from snapsim.mechanics.joints.marks import Line, Mark


@dataclass(frozen=True)
class String(Joint):
    """`length` [m]; `force_limit` is its breaking load."""

    kind: ClassVar[str] = "string"

    length: float = 1.0

    @property
    def pivots(self) -> bool:
        """The bodies turn about its point."""
        return True

    @property
    def slack(self) -> float:
        """Its length."""
        return self.length

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The string."""
        return (Line(self.length),)

    def inequalities(self, a: Side, b: Side) -> Rows:
        """Return the one row of its length."""
        arm_a, arm_b = lever(a, self.points[0]), lever(b, self.points[1])
        d = a.position + arm_a - b.position - arm_b
        distance = float(np.linalg.norm(d))
        e = d / max(distance, 1e-300)
        slip = a.velocity + cross(a.spin, arm_a) - b.velocity - cross(b.spin, arm_b)
        across = slip - (e @ slip) * e
        bias = -e @ (centripetal(a, arm_a) - centripetal(b, arm_b))
        bias -= across @ across / max(distance, 1e-9)
        jacobian = np.concatenate([-e, -cross(arm_a, e), e, cross(arm_b, e)])
        return rows(jacobian[None], np.array([self.length - distance]), np.array([bias]))
