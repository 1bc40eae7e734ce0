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
from snapsim.numerics.compilation import bare, compiled
from snapsim.numerics.rotation_kernels import advanced, matrices
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
        return in_world(as_floats(quaternion), self.inverse_inertia)

    def angular_momentum(self, state: State) -> Array:
        """Return L (n, 3) about each centre of mass, world axes [kg m^2/s]."""
        return turned_products(
            self.inertia, as_floats(state.pose.quaternion), as_floats(state.spin)
        )

    def kinetic_energies(self, state: State) -> Array:
        """Return the kinetic energy of each body (n,) [J]; zero for fixed ones."""
        return energies(
            self.free,
            self.mass,
            self.inertia,
            as_floats(state.pose.quaternion),
            as_floats(state.velocity),
            as_floats(state.spin),
        )

    def rim_speeds(self, state: State) -> Array:
        """Return a bound on the speed of any point of each body (n,) [m/s]."""
        return _rim_speeds(self.reach, as_floats(state.velocity), as_floats(state.spin))

    def largest_acceleration(self, state: State, force: Array, torque: Array) -> float:
        """Return a bound on what `force`, `torque` (n, 3) give a point of a free body [m/s^2]."""
        return _largest_acceleration(
            self.free,
            self.inverse_mass,
            self.inverse_inertia,
            self.reach,
            as_floats(state.pose.quaternion),
            as_floats(state.spin),
            as_floats(force),
            as_floats(torque),
        )


@compiled
def in_world(quaternion: Array, tensor: Array) -> Array:
    """Return R T R^T (n, 3, 3) of tensors T in body axes, for unit quaternions (n, 4)."""
    turn, world = matrices(quaternion), np.zeros(tensor.shape)
    for n in range(len(tensor)):
        for j in range(3):
            for k in range(3):
                share = 0.0
                for m in range(3):
                    share += tensor[n, j, m] * turn[n, k, m]
                for i in range(3):
                    world[n, i, k] += turn[n, i, j] * share
    return world


@compiled
def turned_products(tensor: Array, quaternion: Array, vector: Array) -> Array:
    """Return R T R^T v (n, 3) of tensors T (n, 3, 3) in body axes and world vectors v (n, 3)."""
    world, products = in_world(quaternion, tensor), np.zeros(vector.shape)
    for n in range(len(tensor)):
        for i in range(3):
            for j in range(3):
                products[n, i] += world[n, i, j] * vector[n, j]
    return products


@bare
def power(force: Array, torque: Array, velocity: Array, spin: Array) -> float:
    """Return force.velocity + torque.spin over all bodies [W]."""
    total = 0.0
    for body in range(force.shape[0]):
        for i in range(3):
            total += force[body, i] * velocity[body, i] + torque[body, i] * spin[body, i]
    return total


@compiled
def energies(
    free: BoolArray, mass: Array, inertia: Array, quaternion: Array, velocity: Array, spin: Array
) -> Array:
    """Return the kinetic energy of each body (n,) [J]; zero for fixed ones."""
    momenta, found = turned_products(inertia, quaternion, spin), np.zeros(len(mass))
    for n in range(len(mass)):
        for i in range(3):
            if free[n]:
                found[n] += 0.5 * mass[n] * velocity[n, i] ** 2 + 0.5 * spin[n, i] * momenta[n, i]
    return found


@compiled
def _rim_speeds(reach: Array, velocity: Array, spin: Array) -> Array:
    speeds = np.empty(len(reach))
    for n in range(len(reach)):
        v, w = velocity[n], spin[n]
        turning = np.sqrt(w[0] ** 2 + w[1] ** 2 + w[2] ** 2)
        speeds[n] = np.sqrt(v[0] ** 2 + v[1] ** 2 + v[2] ** 2) + reach[n] * turning
    return speeds


@compiled
def _largest_acceleration(
    free: BoolArray,
    inverse_mass: Array,
    inverse_inertia: Array,
    reach: Array,
    quaternion: Array,
    spin: Array,
    force: Array,
    torque: Array,
) -> float:
    rates, largest = turned_products(inverse_inertia, quaternion, torque), 0.0
    for n in range(len(free)):
        if not free[n]:
            continue
        pull, turn, square = 0.0, 0.0, 0.0
        for k in range(3):
            pull += force[n, k] ** 2
            turn += rates[n, k] ** 2
            square += spin[n, k] ** 2
        rim = (np.sqrt(turn) + square) * reach[n]
        largest = max(largest, np.sqrt(pull) * inverse_mass[n] + rim)
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


@bare
def farthest(position: Array, centre: Array, chosen: BoolArray) -> float:
    """Return the largest distance [m] of the `chosen` of some positions (n, 3) from `centre`."""
    square = 0.0
    for n in range(len(position)):
        if chosen[n]:
            away = 0.0
            for i in range(3):
                away += (position[n, i] - centre[i]) ** 2
            square = max(square, away)
    return float(np.sqrt(square))


def drift(pose: Pose, velocity: Array, spin: Array, duration: float) -> Pose:
    """Return the pose after `duration` [s] at constant `velocity` and `spin` (n, 3)."""
    before = as_floats(pose.position), as_floats(pose.quaternion)
    position, quaternion = _drifted(*before, as_floats(velocity), as_floats(spin), duration)
    return Pose(position, quaternion)


@compiled
def _drifted(
    position: Array, quaternion: Array, velocity: Array, spin: Array, duration: float
) -> tuple[Array, Array]:
    after, turn = np.empty(position.shape), np.empty(spin.shape)
    for n in range(len(position)):
        for i in range(3):
            after[n, i] = position[n, i] + duration * velocity[n, i]
            turn[n, i] = duration * spin[n, i]
    return after, advanced(quaternion, turn)
