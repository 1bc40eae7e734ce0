"""Ball joint: two bodies share a point and turn about it as they like (a ball in its socket).

    x_a + R_a p_a = x_b + R_b p_b    (3 rows)

p_a, p_b the point in each body's frame [m]. Rigid, massless, without play, friction or stops; the
multipliers are the force that the first body's socket takes [N], world axes. Source: Shabana,
Dynamics of Multibody Systems, 4th ed. 2013, section 3.4, "spherical joint" (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from snapsim.mechanics.joints.contract import Joint, Rows, Side, coincidence
from snapsim.mechanics.joints.marks import Knob, Mark


@dataclass(frozen=True)
class Ball(Joint):
    """A common point, and nothing else."""

    kind: ClassVar[str] = "ball"

    @property
    def pivots(self) -> bool:
        """The bodies turn about the point."""
        return True

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The ball."""
        return (Knob(0, self.points[0]),)

    def equalities(self, a: Side, b: Side, time: float) -> Rows:
        """Return three rows of the common point."""
        return coincidence(a, b, self.points)
