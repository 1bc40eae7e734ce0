"""What contacts that last ask of a step of sustained contact, in compiled loops.

Contacts (c,) of n bodies as in `contact.ContactSet`; lengths [m], speeds [m/s], impulses (c, 3)
[N s] on the first body of each pair. The law of a step stands in `sustained_contact`, what is made
of these numbers in `phases.press`.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.contact.geometry import gap_rates
from snapsim.mechanics.coulomb_cone import SLIDING
from snapsim.mechanics.sustained_contact import turn_all
from snapsim.numerics.compilation import bare, compiled


@compiled
def counterparts(pair: IntArray, point: Array, others: IntArray, places: Array) -> IntArray:
    """Return which of other contacts, (k, 2) pairs at `places` (k, 3), is the nearest of the same
    pair to each contact (c,); -1 where there is none."""
    nearest = np.full(len(pair), -1)
    for c in range(len(pair)):
        least = np.inf
        for k in range(len(others)):
            if pair[c, 0] == others[k, 0] and pair[c, 1] == others[k, 1]:
                away = (
                    (point[c, 0] - places[k, 0]) ** 2
                    + (point[c, 1] - places[k, 1]) ** 2
                    + (point[c, 2] - places[k, 2]) ** 2
                )
                if away < least:
                    nearest[c], least = k, away
    return nearest


@compiled
def room(
    gap: Array, rate: Array, nearest: IntArray, earlier: Array, dt: float, touch: float, bend: float
) -> Array:
    """Return how far each contact (c,) may close at the final speed, in `dt` [m].

    An open contact may close just until it touches at the end of the step. One that touched at
    the start, to `touch`, ends no nearer than it was: then its force does no work, as on a fixed
    support. Where it turns with the bodies or wanders, the old velocities close it in the middle of
    the step (`rate`) faster than at the start (`earlier` (k,), found by `nearest`), by no more than
    `bend`, what accelerations or the touching gap explain, and the new ones must open it by the
    difference there.
    """
    rooms = np.zeros(len(gap))
    for c in range(len(gap)):
        if not gap[c] - rate[c] * dt / 2 <= touch:
            rooms[c] = 2 * max(gap[c], 0.0)
            continue
        start = min(earlier[nearest[c]], 0.0) if nearest[c] >= 0 else 0.0
        more = min(rate[c] - start, 0.0)
        if rate[c] > 0:
            rooms[c] = dt * rate[c]
        elif more > -bend:
            rooms[c] = dt * more
    return rooms


@compiled
def turning_slip(
    position: Array,
    spin: Array,
    pair: IntArray,
    point: Array,
    dt: float,
    nearest: IntArray,
    status: IntArray,
) -> Array:
    """Return a bound on the slip (c,) [m/s] that turning by `spin` (n, 3) over `dt` brings.

    The arm to the contact changes by up to w r dt, its velocity by w times that; twice, to be safe.
    Zero where the contact slid before: the last step's `status` (k,), found by `nearest`.
    """
    bound = np.zeros(len(pair))
    for c in range(len(pair)):
        if nearest[c] >= 0 and status[nearest[c]] == SLIDING:
            continue
        for side in range(2):
            n, arm, square = pair[c, side], 0.0, 0.0
            for i in range(3):
                arm += (point[c, i] - position[n, i]) ** 2
                square += spin[n, i] ** 2
            bound[c] += 2.0 * dt * square * np.sqrt(arm)
    return bound


@compiled
def terms(
    position: Array,
    inverse_inertia: Array,
    velocity: Array,
    spin: Array,
    contacts: tuple[IntArray, Array, Array, Array],
    near: tuple[IntArray, Array, Array],
    before: tuple[IntArray, Array, IntArray],
    rubbing: Array,
    dt: float,
    touch: float,
    bend: float,
) -> tuple[Array, Array, Array]:
    """Return room, friction and turning slip (c,) of the contacts (pair, point, normal, gap) in the
    middle of a step.

    `velocity` and `spin` (n, 3) are those before it, `inverse_inertia` (n, 3, 3) in world axes;
    `near` (pair, point, rate) the contacts at its start, `before` (pair, point, status) those of
    the last step, `rubbing` (n, n) the friction of any two bodies. Spins meet the forces in the
    middle of the step after half their free turn.
    """
    pair, point, normal, gap = contacts
    turned, friction = spin.copy(), np.empty(len(pair))
    turn_all(inverse_inertia, turned, 0.5 * dt)
    rate = gap_rates(position, velocity, turned, pair, point, normal)
    nearest = counterparts(pair, point, near[0], near[1])
    rooms = room(gap, rate, nearest, near[2], dt, touch, bend)
    for c in range(len(pair)):
        friction[c] = rubbing[pair[c, 0], pair[c, 1]]
    last = counterparts(pair, point, before[0], before[1])
    return rooms, friction, turning_slip(position, spin, pair, point, dt, last, before[2])


@compiled
def one_sided(
    position: Array,
    velocity: Array,
    spin: Array,
    contacts: tuple[IntArray, Array, Array, Array],
    impulse: Array,
    dt: float,
) -> tuple[Array, Array, Array]:
    """Return gap at the start of a step, rate by the velocities there, and push of contacts (c,)
    in its middle."""
    pair, point, normal, gap = contacts
    start = np.empty(len(pair))
    rate = gap_rates(position, velocity, spin, pair, point, normal)
    for c in range(len(pair)):
        start[c] = gap[c] - rate[c] * dt / 2
    return start, rate, pushes(impulse, normal)


@compiled
def pushes(impulse: Array, normal: Array) -> Array:
    """Return the normal impulses (c,) [N s]."""
    found = np.zeros(len(normal))
    for c in range(len(normal)):
        for i in range(3):
            found[c] += impulse[c, i] * normal[c, i]
    return found


@compiled
def pressed_bodies(pair: IntArray, push: Array, count: int) -> BoolArray:
    """Return which of `count` bodies some normal impulse `push` (c,) acts on."""
    pressed = np.zeros(count, dtype=np.bool_)
    for c in range(len(pair)):
        if push[c] > 0.0:
            pressed[pair[c, 0]] = pressed[pair[c, 1]] = True
    return pressed


@bare
def add_pressing_loads(
    pair: IntArray,
    point: Array,
    impulse: Array,
    dt: float,
    position: Array,
    force: Array,
    torque: Array,
) -> None:
    """Add the contacts' mean forces over `dt` and their torques about the centres of mass
    `position` (n, 3) to `force` and `torque` (n, 3) [N, N m]."""
    for c in range(len(pair)):
        for side in range(2):
            n, share = pair[c, side], (1.0 - 2.0 * side) / dt
            x, y, z = share * impulse[c, 0], share * impulse[c, 1], share * impulse[c, 2]
            a, b = point[c, 0] - position[n, 0], point[c, 1] - position[n, 1]
            h = point[c, 2] - position[n, 2]
            force[n, 0] += x
            force[n, 1] += y
            force[n, 2] += z
            torque[n, 0] += b * z - h * y
            torque[n, 1] += h * x - a * z
            torque[n, 2] += a * y - b * x


@bare
def load_change(
    weight: Array, reach: Array, force: Array, torque: Array, before: Array, earlier: Array
) -> float:
    """Return the largest change of a body's load since `before` and `earlier`, force and torque
    (n, 3) [N, N m], as a share of the load; `weight` (n,) [N], infinite for fixed bodies."""
    largest = 0.0
    for n in range(len(weight)):
        size, pull, twist = 0.0, 0.0, 0.0
        for i in range(3):
            size += force[n, i] ** 2
            pull += (force[n, i] - before[n, i]) ** 2
            twist += (torque[n, i] - earlier[n, i]) ** 2
        now = np.sqrt(size) + weight[n]
        largest = max(largest, np.sqrt(pull) / now + np.sqrt(twist) / (now * reach[n]))
    return largest


@bare
def longest(vectors: Array) -> float:
    """Return the length of the longest of some vectors (n, 3)."""
    square = 0.0
    for n in range(len(vectors)):
        square = max(square, vectors[n, 0] ** 2 + vectors[n, 1] ** 2 + vectors[n, 2] ** 2)
    return float(np.sqrt(square))
