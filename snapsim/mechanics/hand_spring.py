"""A hand that carries a part where it is wanted: a damped spring of limited force and torque.

    F = -dU/dx + D,    U(s) = 1/2 k s^2 (s <= L/k),  L s - L^2/(2 k) beyond,    s = |x - c|

x the part's centre of mass, c the point where the spring is slack: from where the hand wants the
part, as far off as what it bore when it gripped it is over k, so that it began in balance. The turn
is held alike, by the angle between the part and what is wanted. D = -b v is the damping by the
speed at the beginning of a slice of time, over which it stays; L is what it leaves of the force
that the hand has, so that both together never pass that. All of it is a function of the pose within
a slice, and its work is known exactly: U(start) - U + D.(x - x_start).

k is that of an arm: 100 to 800 N/m (Mussa-Ivaldi, Hogan & Bizzi, J. Neurosci. 5, 2732 (1985), of
relaxed arms in a plane; from memory). A pull that grows faster with the way than k tears the part
away below any limit of force. For a light part k is less, so that its swing takes longer than a
slice: a hand as soft as that loses it sooner than a person's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.states import Pose

STIFFNESS: Final = 800.0
"""The stiffest that a hand is [N/m]."""

FASTEST: Final = 60.0
"""The fastest swing [rad/s] of a part on the spring."""

ARM: Final = 0.05
"""Lever [m] with which a hand turns what it holds: its torque over its force."""

DAMPED: Final = 0.7
"""Damping over the critical one."""

SETTLED: Final = 0.8
"""The most that damping takes of a speed in a slice: beyond 2 it would feed it."""

STRETCH: Final = 0.06
"""How far [m] from where the hand is a part may be before that has lost it."""

STRUCK: Final = 0.3
"""Closing speed [m/s] of a blow on a magnet that takes a part from a hand."""


@dataclass(frozen=True)
class HandSpring:
    """What a hand can do: `limit` [N] and `torque_limit` [N m], stiffness [N/m] and `turning`
    [N m/rad], damping [N s/m] and `turn_damping` [N m s/rad]; `lift` (3,) [m] and `twist` (3,)
    [rad] by which it is slack off what is wanted."""

    limit: float
    torque_limit: float
    stiffness: float
    turning: float
    damping: float
    turn_damping: float
    lift: Array
    twist: Array


def hand_spring(
    limit: float, mass: float, inertia: Array, borne: tuple[Array, Array], slice_: float
) -> HandSpring:
    """Return a hand of a force `limit` [N] for a part, moved in slices of time [s]; it grips it
    where a force and a torque (3,) [N, N m] act that are to be `borne`, its weight with them."""
    least = float(np.linalg.eigvalsh(inertia)[0])
    k, turning = min(STIFFNESS, mass * FASTEST**2), least * FASTEST**2
    damping = min(2 * DAMPED * np.sqrt(k * mass), SETTLED * mass / slice_)
    turn_damping = min(2 * DAMPED * np.sqrt(turning * least), SETTLED * least / slice_)
    lift = -_at_most(borne[0], limit) / k
    twist = -_at_most(borne[1], limit * ARM) / turning
    return HandSpring(limit, limit * ARM, k, turning, damping, turn_damping, lift, twist)


@dataclass(frozen=True)
class HandSlice:
    """The hand over one slice: it wants body number `body` at `position` (3,), `quaternion` (4,);
    `drag` (3,) [N] and `turn_drag` (3,) [N m] damp; `start` is the pose where the slice began."""

    spring: HandSpring
    body: int
    position: Array
    quaternion: Array
    drag: Array
    turn_drag: Array
    start: Pose

    def wrench(self, pose: Pose) -> tuple[Array, Array]:
        """Return force [N] and torque [N m] (3,) each on the body, about its centre of mass."""
        away, turned = self._away(pose)
        most, most_turn = self._left
        force = _held(away, self.spring.stiffness, most) + self.drag
        return force, _held(turned, self.spring.turning, most_turn) + self.turn_drag

    def work(self, pose: Pose) -> float:
        """Return what the hand has done on the body since the slice began [J]."""
        i, start = self.body, self.start
        moved = pose.position[i] - start.position[i]
        turned = rotations.vector_between(start.quaternion[i], pose.quaternion[i])
        damped = float(self.drag @ moved + self.turn_drag @ turned)
        return self._potential(start) - self._potential(pose) + damped

    def stretch(self, pose: Pose) -> float:
        """Return how far the body is from where the hand is [m]."""
        return float(np.linalg.norm(self.position - pose.position[self.body]))

    @property
    def _left(self) -> tuple[float, float]:
        """What damping leaves of the force and the torque."""
        spring = self.spring
        one, two = np.linalg.norm(self.drag), np.linalg.norm(self.turn_drag)
        return spring.limit - float(one), spring.torque_limit - float(two)

    def _away(self, pose: Pose) -> tuple[Array, Array]:
        i = self.body
        away = self.position + self.spring.lift - pose.position[i]
        slack = rotations.multiply(
            rotations.from_rotation_vector(self.spring.twist), self.quaternion
        )
        return away, rotations.vector_between(pose.quaternion[i], slack)

    def _potential(self, pose: Pose) -> float:
        away, turned = self._away(pose)
        most, most_turn = self._left
        one = _stored(float(np.linalg.norm(away)), self.spring.stiffness, most)
        return one + _stored(float(np.linalg.norm(turned)), self.spring.turning, most_turn)


def hand_slice(
    spring: HandSpring,
    body: int,
    wanted: tuple[Array, Array],
    moving: tuple[Array, Array],
    start: Pose,
) -> HandSlice:
    """Return a slice in which the body is wanted at (position, quaternion); it begins in `start`
    with velocity and spin `moving`."""
    drag = _at_most(-spring.damping * moving[0], spring.limit)
    turn_drag = _at_most(-spring.turn_damping * moving[1], spring.torque_limit)
    return HandSlice(spring, body, *wanted, drag, turn_drag, start)


def _held(away: Array, stiffness: float, most: float) -> Array:
    return _at_most(stiffness * away, most)


def _at_most(vector: Array, most: float) -> Array:
    size = float(np.linalg.norm(vector))
    return vector if size <= most else vector * (most / size)


def _stored(distance: float, stiffness: float, most: float) -> float:
    bend = most / stiffness
    if distance <= bend:
        return 0.5 * stiffness * distance**2
    return most * (distance - 0.5 * bend)
