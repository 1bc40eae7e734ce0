"""Undoing penetration without giving energy.

Bodies that sank into each other during a step gained what the load did on the way in, most of it as
motion along the surfaces; pushing them out raises the potential energy by the same again,

    w = -sum_i (F_i . d_i + T_i . t_i)        d_i, t_i displacement [m] and turn [rad] of body i,

F_i [N] and T_i [N m] the load with weight (first order in d). Left alone, that sum is energy from
nothing: a disc that rolls on a pole speeds up. It is taken from the kinetic energy of those bodies
that touch each other (a cluster): all velocities of a cluster that leans on a fixed body are scaled
by one factor; in one that floats freely only those relative to its motion as a whole, which keeps
its momentum and angular momentum. Contacts that roll, slide or stay closed go on doing so, since
relative velocities keep their directions. A negative w is given back in the same way. Where w is
more than the motion has, or what is given back more than a small share of it, nothing is changed.
Valid while w is small against the kinetic energy.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State

MOST_GIVEN = 0.05
"""Largest share of a cluster's kinetic energy that is given back to it at once."""


@dataclass(frozen=True)
class Moved:
    """A correction of a pose: `displacement` and `turn` (n, 3) [m, rad] of each body, in world."""

    displacement: Array
    turn: Array

    def scaled(self, factor: float) -> Moved:
        """Return a share of it."""
        return Moved(factor * self.displacement, factor * self.turn)

    def works(self, force: Array, torque: Array) -> Array:
        """Return the work (n,) [J] that a load (n, 3) [N, N m] does on each body on the way."""
        found: Array = np.sum(force * self.displacement + torque * self.turn, axis=1)
        return found


def moved_between(before: Pose, after: Pose) -> Moved:
    """Return the correction that leads from one pose to the other, the short way."""
    turn = rotations.multiply(after.quaternion, rotations.conjugate(before.quaternion))
    sign = np.where(turn[:, :1] < 0, -1.0, 1.0)
    return Moved(after.position - before.position, 2 * sign * turn[:, 1:])


def clusters(pair: IntArray, count: int) -> list[IntArray]:
    """Return the groups of bodies (k,) that touch each other, by the pairs (c, 2) in contact."""
    label = np.arange(count)
    for a, b in pair:
        label[label == label[a]] = label[b]
    return [np.flatnonzero(label == k) for k in np.unique(label)]


def slowed(
    bodies: RigidBodies, state: State, pair: IntArray, raised: Array, untouched: BoolArray
) -> State:
    """Return the state with the energy `raised` (n,) [J] taken from each cluster's motion.

    `pair` (c, 2) are the pairs in contact; clusters with a body of `untouched` (n,) are left.
    """
    velocity, spin = state.velocity.copy(), state.spin.copy()
    free = bodies.free
    leaning = free[pair[:, 0]] & free[pair[:, 1]]
    for group in clusters(pair[leaning], len(free)):
        gained = float(raised[group].sum())
        if gained == 0 or not free[group].all() or np.any(untouched[group]):
            continue
        on_fixed = bool(np.any(np.isin(pair[~leaning], group)))
        drift_v, drift_w = (0.0, 0.0) if on_fixed else _as_a_whole(bodies, state, group)
        own_v, own_w = velocity[group] - drift_v, spin[group] - drift_w
        has = _energy(bodies, state, group, own_v, own_w)
        if gained >= has or -gained > MOST_GIVEN * has:
            continue
        factor = np.sqrt(1 - gained / has)
        velocity[group], spin[group] = drift_v + factor * own_v, drift_w + factor * own_w
    return replace(state, velocity=velocity, spin=spin)


def _energy(bodies: RigidBodies, state: State, group: IntArray, v: Array, w: Array) -> float:
    """Kinetic energy [J] of some bodies with velocities `v` and spins `w` (k, 3)."""
    turn = rotations.matrix(state.pose.quaternion[group])
    own = np.einsum("kji,kj->ki", turn, w)
    turning = np.einsum("ki,kij,kj->", own, bodies.inertia[group], own)
    return 0.5 * float(np.sum(bodies.mass[group, None] * v**2) + turning)


def _as_a_whole(bodies: RigidBodies, state: State, group: IntArray) -> tuple[Array, Array]:
    """Velocities (k, 3) [m/s] and spin (3,) [rad/s] of a group that moves as one rigid body."""
    mass = bodies.mass[group, None]
    place, speed = state.pose.position[group], state.velocity[group]
    middle = np.sum(mass * place, axis=0) / mass.sum()
    mean = np.sum(mass * speed, axis=0) / mass.sum()
    arm = place - middle
    turn = rotations.matrix(state.pose.quaternion[group])
    inertia = np.einsum("kia,kab,kjb->ij", turn, bodies.inertia[group], turn)
    square = np.sum(arm**2, axis=1)[:, None, None] * np.eye(3)
    inertia = inertia + np.sum(mass[:, :, None] * (square - arm[:, :, None] * arm[:, None]), axis=0)
    angular = bodies.angular_momentum(state)[group] + np.cross(arm, mass * (speed - mean))
    spin = np.linalg.solve(inertia, angular.sum(axis=0))
    return mean + np.cross(spin, arm), spin
