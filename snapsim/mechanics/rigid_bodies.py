"""Rigid-body kinetics: mass, inertia and momentum of n bodies, some of them fixed.

Symbols: m mass [kg], I inertia tensor in body axes about the centre of mass [kg m^2], R rotation
matrix of the pose, L = R I R^T w angular momentum about the centre of mass in world axes, w spin
in world axes [rad/s]. Euler's equations stand as dL/dt = T, dq/dt = 1/2 (0, w) q (Goldstein, Poole
& Safko, Classical Mechanics, 3rd ed., sections 4.9 and 5.5; from memory). A fixed body has inverse
mass and inertia zero, so nothing moves it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray, as_floats
from snapsim.numerics import rotations
from snapsim.numerics.compilation import compiled
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose, State


@dataclass(frozen=True)
class RigidBodies:
    """Kinetic constants: `mass` (n,), `inertia` (n, 3, 3), `free` (n,) True where it may move.

    `inverse_mass` (n,) and `inverse_inertia` (n, 3, 3) are zero for fixed bodies; `reach` (n,) is
    the radius of a ball about the centre of mass that holds the body [m].
    """

    mass: Array
    inertia: Array
    inverse_mass: Array
    inverse_inertia: Array
    free: BoolArray
    reach: Array

    @property
    def moving(self) -> IntArray:
        """Indices of the bodies that may move."""
        return np.flatnonzero(self.free)

    def inverse_inertia_world(self, quaternion: Array) -> Array:
        """Return R I^-1 R^T (n, 3, 3) for unit quaternions (n, 4)."""
        turn = rotations.matrix(quaternion)
        world: Array = turn @ self.inverse_inertia @ np.swapaxes(turn, 1, 2)
        return world

    def angular_momentum(self, state: State) -> Array:
        """Return L (n, 3) about each centre of mass, world axes [kg m^2/s]."""
        body_spin = rotations.rotate_back(state.pose.quaternion, state.spin)
        return rotations.rotate(
            state.pose.quaternion, np.einsum("nij,nj->ni", self.inertia, body_spin)
        )

    def kinetic_energies(self, state: State) -> Array:
        """Return the kinetic energy of each body (n,) [J]; zero for fixed ones."""
        linear = 0.5 * self.mass * np.sum(state.velocity**2, axis=1)
        turning = 0.5 * np.sum(state.spin * self.angular_momentum(state), axis=1)
        energies: Array = np.where(self.free, linear + turning, 0.0)
        return energies

    def largest_acceleration(self, state: State, force: Array, torque: Array) -> float:
        """Return a bound on what `force`, `torque` (n, 3) give a point of a free body [m/s^2]."""
        return _largest_acceleration(
            self.free,
            self.inverse_mass,
            self.inverse_inertia_world(state.pose.quaternion),
            self.reach,
            as_floats(state.spin),
            as_floats(force),
            as_floats(torque),
        )


@compiled
def _largest_acceleration(
    free: BoolArray,
    inverse_mass: Array,
    inverse_inertia: Array,
    reach: Array,
    spin: Array,
    force: Array,
    torque: Array,
) -> float:
    largest = 0.0
    for i in range(len(free)):
        if not free[i]:
            continue
        pull, turn, square = 0.0, 0.0, 0.0
        for k in range(3):
            rate = 0.0
            for j in range(3):
                rate += inverse_inertia[i, k, j] * torque[i, j]
            pull += force[i, k] ** 2
            turn += rate * rate
            square += spin[i, k] ** 2
        rim = (np.sqrt(turn) + square) * reach[i]
        largest = max(largest, np.sqrt(pull) * inverse_mass[i] + rim)
    return largest


def rigid_bodies(bodies: Sequence[Body]) -> RigidBodies:
    """Collect the kinetic constants of `bodies`."""
    mass = np.array([b.mass for b in bodies])
    inertia = np.array([b.inertia for b in bodies])
    free = np.array([not b.fixed for b in bodies])
    inverse = np.where(free, 1 / mass, 0.0)
    inverse_inertia = np.where(free[:, None, None], np.linalg.inv(inertia), 0.0)
    reach = np.array([float(np.linalg.norm(b.shape.extents)) for b in bodies])
    return RigidBodies(mass, inertia, inverse, inverse_inertia, free, reach)


def drift(pose: Pose, velocity: Array, spin: Array, duration: float) -> Pose:
    """Return the pose after `duration` [s] at constant `velocity` and `spin` (n, 3)."""
    quaternion = rotations.advanced(as_floats(pose.quaternion), duration * spin)
    return Pose(pose.position + duration * velocity, quaternion)
