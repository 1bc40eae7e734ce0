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

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray, as_floats
from snapsim.mechanics.linear_system import solve_in_place
from snapsim.mechanics.rigid_bodies import RigidBodies, energies, in_world
from snapsim.numerics.compilation import bare, compiled
from snapsim.parts.states import Pose, State

Moved = tuple[Array, Array]
"""Displacement and turn, or force and torque, (n, 3) each, of n bodies."""

MOST_GIVEN = 0.05
"""Largest share of a cluster's kinetic energy that is given back to it at once."""


def owed(
    bodies: RigidBodies,
    ahead: Moved,
    since: Moved,
    load: Moved,
    earlier: Moved,
    weight: Array,
    sunk: Pose,
    pose: Pose,
) -> Array:
    """Return (2, n) [J]: what each body's motion owes for a step, and what lifting it took.

    The step led to the pose `sunk`, pushing out to `pose`. `load`, `earlier` (n, 3) [N, N m] are
    force and torque in the middle of this step and of the one before; `ahead`, `since` (n, 3)
    [m, rad] what the bodies moved and turned from the step's start to its middle, and from the
    middle of the one before to its end. By the trapezoidal rule the field did (F1 + F2).(d1 + d2)/2
    between the two; the steps booked F1.d1 + F2.d2, too much by (F1 - F2).(d1 - d2)/2.
    """
    places = sunk.position, sunk.quaternion, pose.position, pose.quaternion
    return _owed(bodies.free, *ahead, *since, *load, *earlier, weight, *places)


def slowed(
    bodies: RigidBodies, state: State, pair: IntArray, raised: Array, untouched: BoolArray
) -> tuple[State, Array]:
    """Return the state with the energy `raised` (n,) [J] taken from each cluster's motion, and
    what each body gave (n,) [J].

    `pair` (c, 2) are the pairs in contact; clusters with a body of `untouched` (n,) are left.
    """
    velocity, spin = as_floats(state.velocity).copy(), as_floats(state.spin).copy()
    place = as_floats(state.pose.position), as_floats(state.pose.quaternion)
    moving = bodies.free, bodies.mass, bodies.inertia
    given = _slowed(*moving, *place, pair, raised, untouched, velocity, spin)
    return State(state.pose, velocity, spin), given


@compiled
def _owed(
    free: BoolArray,
    ahead: Array,
    ahead_turn: Array,
    since: Array,
    since_turn: Array,
    force: Array,
    torque: Array,
    earlier_force: Array,
    earlier_torque: Array,
    weight: Array,
    sunk: Array,
    sunk_quaternion: Array,
    position: Array,
    quaternion: Array,
) -> Array:
    found, turn = np.zeros((2, len(free))), np.empty(3)
    for n in range(len(free)):
        if not free[n]:
            continue
        _turn_between(sunk_quaternion[n], quaternion[n], turn)
        for i in range(3):
            push = position[n, i] - sunk[n, i]
            pull, twist = earlier_force[n, i] - force[n, i], earlier_torque[n, i] - torque[n, i]
            found[0, n] += 0.5 * pull * (since[n, i] - ahead[n, i])
            found[0, n] += 0.5 * twist * (since_turn[n, i] - ahead_turn[n, i])
            found[0, n] -= (force[n, i] + weight[n, i]) * push + torque[n, i] * turn[i]
            found[1, n] += weight[n, i] * push
    return found


@bare
def _turn_between(before: Array, after: Array, turn: Array) -> None:
    """Fill in the small turn (3,) [rad] from one unit quaternion (4,) to another, the short way."""
    a, b, c, d = before[0], before[1], before[2], before[3]
    w, x, y, z = after[0], after[1], after[2], after[3]
    side = 2.0 if w * a + x * b + y * c + z * d >= 0.0 else -2.0
    turn[0] = side * (x * a - w * b - y * d + z * c)
    turn[1] = side * (y * a - w * c - z * b + x * d)
    turn[2] = side * (z * a - w * d - x * c + y * b)


@compiled
def _slowed(
    free: BoolArray,
    mass: Array,
    inertia: Array,
    position: Array,
    quaternion: Array,
    pair: IntArray,
    raised: Array,
    untouched: BoolArray,
    velocity: Array,
    spin: Array,
) -> Array:
    """Change `velocity` and `spin` in place; return what each body gave (n,) [J]."""
    given = energies(free, mass, inertia, quaternion, velocity, spin)
    world = in_world(quaternion, inertia)
    _slow(free, mass, world, position, pair, raised, untouched, velocity, spin)
    left = energies(free, mass, inertia, quaternion, velocity, spin)
    for n in range(len(given)):
        given[n] -= left[n]
    return given


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


@bare
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
