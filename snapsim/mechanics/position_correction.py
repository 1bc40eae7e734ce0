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

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray, as_floats
from snapsim.mechanics.linear_system import solve_in_place
from snapsim.mechanics.rigid_bodies import RigidBodies, in_world
from snapsim.numerics.compilation import compiled
from snapsim.parts.states import Pose, State

MOST_GIVEN = 0.05
"""Largest share of a cluster's kinetic energy that is given back to it at once."""


@dataclass(frozen=True)
class Moved:
    """A correction of a pose: `displacement` and `turn` (n, 3) [m, rad] of each body, in world."""

    displacement: Array
    turn: Array

    def works(self, force: Array, torque: Array) -> Array:
        """Return the work (n,) [J] that a load (n, 3) [N, N m] does on each body on the way."""
        return _works(self.displacement, self.turn, force, torque)


def moved_between(before: Pose, after: Pose) -> Moved:
    """Return the correction that leads from one pose to the other, the short way."""
    places = before.position, before.quaternion, after.position, after.quaternion
    return Moved(*_moved_between(*places))


def slowed(
    bodies: RigidBodies, state: State, pair: IntArray, raised: Array, untouched: BoolArray
) -> State:
    """Return the state with the energy `raised` (n,) [J] taken from each cluster's motion.

    `pair` (c, 2) are the pairs in contact; clusters with a body of `untouched` (n,) are left.
    """
    velocity, spin = state.velocity.copy(), state.spin.copy()
    world = in_world(as_floats(state.pose.quaternion), bodies.inertia)
    place = as_floats(state.pose.position)
    _slow(bodies.free, bodies.mass, world, place, pair, raised, untouched, velocity, spin)
    return State(state.pose, velocity, spin)


@compiled
def _works(displacement: Array, turn: Array, force: Array, torque: Array) -> Array:
    works = np.zeros(len(force))
    for n in range(len(force)):
        for i in range(3):
            works[n] += force[n, i] * displacement[n, i] + torque[n, i] * turn[n, i]
    return works


@compiled
def _moved_between(
    position: Array, quaternion: Array, new_position: Array, new_quaternion: Array
) -> tuple[Array, Array]:
    displacement, turn = np.empty(position.shape), np.empty(position.shape)
    for n in range(len(position)):
        a, b, c, d = quaternion[n]
        w, x, y, z = new_quaternion[n]
        side = 2.0 if w * a + x * b + y * c + z * d >= 0.0 else -2.0
        turn[n, 0] = side * (x * a - w * b - y * d + z * c)
        turn[n, 1] = side * (y * a - w * c - z * b + x * d)
        turn[n, 2] = side * (z * a - w * d - x * c + y * b)
        for i in range(3):
            displacement[n, i] = new_position[n, i] - position[n, i]
    return displacement, turn


@compiled
def clusters(pair: IntArray, free: BoolArray) -> IntArray:
    """Return a label (n,) per body; free ones that touch each other, by the pairs (c, 2) in
    contact, directly or through other free ones, share it."""
    label = np.arange(len(free))
    for k in range(len(pair)):
        if free[pair[k, 0]] and free[pair[k, 1]]:
            old, new = label[pair[k, 0]], label[pair[k, 1]]
            for n in range(len(label)):
                if label[n] == old:
                    label[n] = new
    return label


@compiled
def _slow(
    free: BoolArray,
    mass: Array,
    inertia: Array,
    position: Array,
    pair: IntArray,
    raised: Array,
    untouched: BoolArray,
    velocity: Array,
    spin: Array,
) -> None:
    """Take the energies from `velocity` and `spin` in place; `inertia` (n, 3, 3) in world axes."""
    label, count = clusters(pair, free), len(free)
    leaning = np.zeros(count, dtype=np.bool_)
    for k in range(len(pair)):
        a, b = pair[k, 0], pair[k, 1]
        if not (free[a] and free[b]):
            leaning[label[a]] = leaning[label[b]] = True
    drift_v, drift_w = np.zeros((count, 3)), np.zeros((count, 3))
    for own in range(count):
        gained, left = 0.0, False
        for n in range(count):
            if label[n] == own:
                gained += raised[n]
                left = left or untouched[n] or not free[n]
        if gained == 0.0 or left:
            continue
        if not leaning[own]:
            _as_a_whole(mass, inertia, position, velocity, spin, label, own, drift_v, drift_w)
        has = _energy(mass, inertia, velocity, spin, label, own, drift_v, drift_w)
        if gained >= has or -gained > MOST_GIVEN * has:
            continue
        factor = np.sqrt(1.0 - gained / has)
        for n in range(count):
            if label[n] == own:
                for i in range(3):
                    velocity[n, i] = drift_v[n, i] + factor * (velocity[n, i] - drift_v[n, i])
                    spin[n, i] = drift_w[n, i] + factor * (spin[n, i] - drift_w[n, i])


@compiled
def _energy(
    mass: Array,
    inertia: Array,
    velocity: Array,
    spin: Array,
    label: IntArray,
    own: int,
    drift_v: Array,
    drift_w: Array,
) -> float:
    """Kinetic energy [J] of cluster `own` beside that of its drift."""
    energy = 0.0
    for n in range(len(label)):
        if label[n] == own:
            for i in range(3):
                energy += 0.5 * mass[n] * (velocity[n, i] - drift_v[n, i]) ** 2
                w = spin[n, i] - drift_w[n, i]
                for j in range(3):
                    energy += 0.5 * w * inertia[n, i, j] * (spin[n, j] - drift_w[n, j])
    return energy


@compiled
def _as_a_whole(
    mass: Array,
    inertia: Array,
    position: Array,
    velocity: Array,
    spin: Array,
    label: IntArray,
    own: int,
    drift_v: Array,
    drift_w: Array,
) -> None:
    """Fill in velocities [m/s] and spin [rad/s] of cluster `own` moving as one rigid body."""
    total, middle, mean = 0.0, np.zeros(3), np.zeros(3)
    for n in range(len(label)):
        if label[n] == own:
            total += mass[n]
            for i in range(3):
                middle[i] += mass[n] * position[n, i]
                mean[i] += mass[n] * velocity[n, i]
    for i in range(3):
        middle[i], mean[i] = middle[i] / total, mean[i] / total
    whole, angular, x = np.zeros((3, 3)), np.zeros(3), np.empty(3)
    for n in range(len(label)):
        if label[n] == own:
            _add_body(
                mass[n], inertia[n], position[n], velocity[n], spin[n], middle, mean, whole, angular
            )
    if not solve_in_place(whole, angular):
        return
    for n in range(len(label)):
        if label[n] == own:
            for i in range(3):
                x[i] = position[n, i] - middle[i]
                drift_w[n, i] = angular[i]
            drift_v[n, 0] = mean[0] + angular[1] * x[2] - angular[2] * x[1]
            drift_v[n, 1] = mean[1] + angular[2] * x[0] - angular[0] * x[2]
            drift_v[n, 2] = mean[2] + angular[0] * x[1] - angular[1] * x[0]


@compiled
def _add_body(
    mass: float,
    inertia: Array,
    position: Array,
    velocity: Array,
    spin: Array,
    middle: Array,
    mean: Array,
    whole: Array,
    angular: Array,
) -> None:
    """Add a body's inertia tensor and angular momentum about `middle` to the sums."""
    x, p, square = np.empty(3), np.empty(3), 0.0
    for i in range(3):
        x[i], p[i] = position[i] - middle[i], mass * (velocity[i] - mean[i])
        square += x[i] * x[i]
    angular[0] += x[1] * p[2] - x[2] * p[1]
    angular[1] += x[2] * p[0] - x[0] * p[2]
    angular[2] += x[0] * p[1] - x[1] * p[0]
    for i in range(3):
        whole[i, i] += mass * square
        for j in range(3):
            whole[i, j] += inertia[i, j] - mass * x[i] * x[j]
            angular[i] += inertia[i, j] * spin[j]
