"""Hold: a hand or a handle keeps a part where it is, or carries it along a path, until it lets go.

    x_a + R_a c = target(t),    R_a = R_b C(t)    (6 rows; the target moves with the second body)

c is the held point. The path is a list of poses of the part in the second body's frame (the
world's, where that is what holds); from each to the next the part goes along a straight line and
about one axis by the share s of the way, starting and stopping smoothly:

    s = 10 x^3 - 15 x^4 + 6 x^5,    x = (t - t_i)/(t_(i+1) - t_i)

the motion of least jerk, as measured on human hands (Flash & Hogan, J. Neurosci. 5, 1688 (1985),
from memory). The hold gives whatever force and torque that takes, and lets go for good when one of
them passes its limit. A hold with a limit is a hand: it does nothing in a blow, and loses the part
if the blow moves it. Without one it is a rigid clamp.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.joints.contract import (
    Joint,
    Rows,
    Side,
    centripetal,
    cross,
    joined,
    lever,
    point_jacobian,
    rows,
    turn_jacobian,
)
from snapsim.mechanics.joints.marks import Collar, Grip, Mark
from snapsim.numerics import rotations


@dataclass(frozen=True)
class Hold(Joint):
    """`time` (k,) [s] rising; `position` (k, 3) and `quaternion` (k, 4) of the part then, in the
    second body's frame; before the first and after the last it is kept still."""

    kind: ClassVar[str] = "hold"

    time: Array = field(default_factory=lambda: np.zeros(1))
    position: Array = field(default_factory=lambda: np.zeros((1, 3)))
    quaternion: Array = field(default_factory=lambda: rotations.IDENTITY[None])

    @property
    def yields(self) -> bool:
        """True for a hand: limited in force or torque."""
        return bool(np.isfinite(self.force_limit) or np.isfinite(self.torque_limit))

    @property
    def times(self) -> tuple[float, ...]:
        """Moments [s] at which a leg of the path begins or ends, and when it lets go."""
        return (*super().times, *(self.time.tolist() if len(self.time) > 1 else ()))

    @property
    def carries(self) -> bool:
        """It keeps the part until it lets go."""
        return True

    @property
    def marks(self) -> tuple[Mark, ...]:
        """A handle where a hand yields or carries the part along, else a clamp."""
        moves = self.yields or len(self.time) > 1
        return (Grip(0, self.points[0]) if moves else Collar(0, self.points[0]),)

    def equalities(self, a: Side, b: Side, time: float) -> Rows:
        """Return three rows of the held point and three of the turn."""
        return joined([self._point_rows(a, b, time), self._turn_rows(a, b, time)])

    def _point_rows(self, a: Side, b: Side, time: float) -> Rows:
        place, speed, pace = self._point(time)
        arm_a, arm_b = lever(a, self.points[0]), b.turn @ place
        moved, hastened = b.turn @ speed, b.turn @ pace
        return rows(
            point_jacobian(arm_a, arm_b),
            a.position + arm_a - b.position - arm_b,
            centripetal(a, arm_a) - centripetal(b, arm_b) - cross(b.spin, moved),
            moved,
            cross(b.spin, moved) + hastened,
        )

    def _turn_rows(self, a: Side, b: Side, time: float) -> Rows:
        i, s, ds, dds = self._share(time)
        whole = self._whole_turn(i)
        wanted = rotations.multiply(b.quaternion, self._turned(i, s, whole))
        turn = b.turn @ whole
        return rows(
            turn_jacobian(np.eye(3)),
            rotations.vector_between(wanted, a.quaternion),
            np.zeros(3),
            ds * turn,
            cross(b.spin, ds * turn) + dds * turn,
        )

    def _share(self, time: float) -> tuple[int, float, float, float]:
        """Return the leg, the share of it gone, and that share's first and second rates."""
        last = len(self.time) - 1
        i = int(np.clip(np.searchsorted(self.time, time, side="right") - 1, 0, max(last - 1, 0)))
        if last == 0:
            return 0, 0.0, 0.0, 0.0
        span = float(self.time[i + 1] - self.time[i])
        x = float(np.clip((time - self.time[i]) / span, 0.0, 1.0))
        s = x**3 * (10 - 15 * x + 6 * x**2)
        return i, s, 30 * x**2 * (1 - x) ** 2 / span, 60 * x * (1 - x) * (1 - 2 * x) / span**2

    def _whole_turn(self, i: int) -> Array:
        """Return the rotation vector (3,) of leg i, in the second body's frame."""
        turn: Array = self._whole_turns[i]
        return turn

    @cached_property
    def _whole_turns(self) -> Array:
        """Rotation vectors of all legs (at least one, zero where nothing is driven)."""
        legs = [rotations.vector_between(one, later) for one, later in pairwise(self.quaternion)]
        return np.array(legs or [np.zeros(3)])

    def _turned(self, i: int, s: float, whole: Array) -> Array:
        return rotations.multiply(rotations.from_rotation_vector(s * whole), self.quaternion[i])

    def _point(self, time: float) -> tuple[Array, Array, Array]:
        """Return the held point (3,), its velocity and acceleration in the second body's frame."""
        i, s, ds, dds = self._share(time)
        whole = self._whole_turn(i)
        way = np.zeros(3) if len(self.time) == 1 else self.position[i + 1] - self.position[i]
        arm = rotations.rotate(self._turned(i, s, whole), self.points[0])
        around = cross(whole, arm)
        inward = cross(whole, around)
        return (
            self.position[i] + s * way + arm,
            ds * (way + around),
            dds * (way + around) + ds**2 * inward,
        )


def hold(
    name: str,
    bodies: tuple[int, int],
    points: Array,
    a: Side,
    b: Side,
    *,
    path: tuple[tuple[float, Array, Array], ...] = (),
    until: float = np.inf,
    force_limit: float = np.inf,
    torque_limit: float = np.inf,
) -> Hold:
    """Return a hold of the first body as the sides stand now.

    `path` gives (time [s] > 0, position (3,), quaternion (4,)) in the second body's frame.
    """
    back = rotations.conjugate(b.quaternion)
    start = b.turn.T @ (a.position - b.position)
    turn = rotations.multiply(back, a.quaternion)
    return Hold(
        name,
        bodies,
        points,
        until,
        force_limit,
        torque_limit,
        time=np.array([0.0, *(leg[0] for leg in path)]),
        position=np.array([start, *(leg[1] for leg in path)]),
        quaternion=np.array([turn, *(leg[2] for leg in path)]),
    )
