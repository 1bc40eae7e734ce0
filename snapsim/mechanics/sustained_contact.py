"""Sustained contact: one step of bodies that rest, slide, roll or tip on each other.

    M (v' - v) = dt f + G^T p,   with   0 <= p_n perpendicular to u_n' + max(gap, 0)/dt >= 0
    and Coulomb's law on u_t' and p_t (`cone_complementarity`), all on the velocities v' at the end

v velocities [m/s] and spins [rad/s], f forces [N] and torques [N m] about the centres of mass, p
impulses [N s] on body a, G the contact Jacobian, gap [m]. This is Moreau's and Jean's step: no
penetration by the end of it, no rebound, a stuck contact keeps the velocity zero (no creep), slip
decelerates exactly. The pose is fixed within the call. Use, second order where smooth: move every
body by half a step at constant velocity and spin (exact rotation), call this there, move by the
other half with the new ones. The gyroscopic term is a turn of the body's spin by the implicit
midpoint rule, which keeps the kinetic energy: by dt/2 before the rest and by dt/2 after it, so that
the contacts' rates, of which gaps and works are made, are the same seen from either side. All laws
above hold on the velocities between the two; K' - K = applied_work + normal_work + friction_work,
to rounding.

A part that rolls or rocks turns while it moves, so the velocity it was left with at the last step's
contact is not quite zero at this one's. For a slip below `grip` Coulomb's law is therefore put on
the mean velocity (u + u')/2 of the step, for which a stuck contact does no work at all; and a gap
counts as negative down to -dt grip, so that a contact that closes that slowly may open as much.

With joints M is that of the bodies on them (`mobility`), taut strings and stops are contacts
without friction, and the rows that joints keep have the rate r by which they are driven, in the
mean of old and new velocities: J (u' + u)/2 = r. So joints do no work but what drives them. Where a
blow without rebound is asked for, the new velocities themselves are on the joints, as they are in
bearings that stick.

Assumes rigid bodies, dry friction with one coefficient, no resistance to rolling. Sources: Moreau,
Unilateral contact and dry friction in finite freedom dynamics, CISM 302 (1988); Jean, Comput.
Methods Appl. Mech. Eng. 177, 235 (1999) (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.cone_complementarity import contact_status, solve_contacts
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.coulomb_cone import SEPARATED, SLIDING, STICKING
from snapsim.mechanics.delassus import contact_velocity, to_world
from snapsim.mechanics.linear_system import solve_in_place
from snapsim.mechanics.mobility import (
    NO_LINES,
    NO_ROOM,
    Lines,
    Mobility,
    apply_impulses,
    assembled,
    give_held,
    held_rates,
)
from snapsim.mechanics.rigid_bodies import power
from snapsim.numerics import rotations
from snapsim.numerics.compilation import bare, compiled, part_of_caller
from snapsim.parts.states import Pose, State

__all__ = [
    "SEPARATED",
    "SLIDING",
    "STICKING",
    "ContactStep",
    "JointTerms",
    "StepTerms",
    "contact_step",
    "project_out",
]

_RELATIVE = 1e-12

Wrenches = tuple[Array, Array]
"""Force [N] and torque [N m] (n, 3) on each of n bodies."""


@dataclass(frozen=True)
class StepTerms:
    """What c contacts may do in a step: `room` (c,) [m] that each may close, `friction` (c,), and
    `grip` (c,) [m/s], the slip that the pose's turning explains (`turning_slip`).

    Of a negative room as much must have opened at the end, at the final speed.
    """

    room: Array
    friction: Array
    grip: Array


@dataclass(frozen=True)
class JointTerms:
    """What joints do in a step: the one-sided rows `limits` (k) with `room` (k,) [m or rad]; the
    rates wanted (m,) of the rows held, and the `share` (m,) of that which the old velocities have a
    part in: 1 for a mean, 0 for the end; `rubbing` loads (n, 3) of bearings that slip, or (0, 3).
    """

    limits: Lines
    room: Array
    rate: Array
    share: Array
    rubbing: Wrenches


NO_JOINTS: Final = JointTerms(
    NO_LINES,
    NO_ROOM,
    NO_ROOM,
    NO_ROOM,
    (np.zeros((0, 3)), np.zeros((0, 3))),
)


@dataclass(frozen=True)
class ContactStep:
    """The end of a step. n bodies, c contacts, k one-sided rows of joints, m rows held.

    `velocity`, `spin` (n, 3) world axes [m/s, rad/s]; `impulse` (c, 3) on a, world axes [N s];
    `pull` (k,) and `held` (m,) impulses of the joints' rows, `slip` (m,) mean rates of those held;
    `status` (c,) SEPARATED, STICKING or SLIDING; `normal_work`, `friction_work` [J] done by all
    contacts and one-sided rows; `applied_work` [J] done by force and torque, `rubbing_work` by
    bearings; `residual` [m/s] misfit of the contact laws, of order 1e-12 of the speeds met where
    solved; `leap` [m/s] the largest change of velocity at a contact that pushed.
    """

    velocity: Array
    spin: Array
    impulse: Array
    pull: Array
    held: Array
    slip: Array
    status: IntArray
    normal_work: float
    friction_work: float
    applied_work: float
    rubbing_work: float
    residual: float
    leap: float


def contact_step(
    body: Mobility,
    state: State,
    load: Wrenches,
    dt: float,
    contacts: ContactSet,
    terms: StepTerms,
    joints: JointTerms = NO_JOINTS,
) -> ContactStep:
    """Return velocities after `dt` [s] under `load`, with what is given at the pose of `state`."""
    after, turning = state.velocity.copy(), state.spin.copy()
    room = np.concatenate([terms.room, joints.room])
    friction = np.concatenate([terms.friction, np.zeros(len(joints.room))])
    impulse, pull, held, slip, status, works = _step(
        state.pose.position,
        body.inverse_mass,
        body.inverse_inertia,
        body.held,
        after,
        turning,
        load,
        dt,
        contacts.places,
        joints.limits,
        (joints.rate, joints.share),
        joints.rubbing,
        (room, friction, terms.grip),
    )
    return ContactStep(after, turning, impulse, pull, held, slip, status, *works.tolist())


def project_out(
    body: Mobility,
    pose: Pose,
    contacts: ContactSet,
    limits: Lines = NO_LINES,
    short: Array = NO_ROOM,
) -> Pose:
    """Return a pose with no gap of contacts, nor of one-sided rows `short` (k,), below zero.

    The smallest displacement d weighted by mass: 1/2 d.M d least subject to gap + G_n d >= 0; first
    order in d, so deep penetration takes a second call. It changes no velocity, hence no kinetic
    energy.
    """
    moved, turned = pose.position.copy(), pose.quaternion.copy()
    translation, rotation = np.zeros(moved.shape), np.zeros(moved.shape)
    gap = np.concatenate([contacts.gap, short]) if len(short) else contacts.gap
    mobile = body.inverse_mass, body.inverse_inertia, body.held
    _project(moved, *mobile, contacts.places, limits, gap, translation, rotation)
    for n in np.flatnonzero(np.any(rotation != 0.0, axis=1)):
        turn = rotations.from_rotation_vector(rotation[n])
        turned[n] = rotations.normalise(rotations.multiply(turn, turned[n]))
    return Pose(moved + translation, turned)


@compiled
def _step(
    position: Array,
    inverse_mass: Array,
    inverse_inertia: Array,
    body: tuple[Array, Array, Array],
    velocity: Array,
    spin: Array,
    load: tuple[Array, Array],
    dt: float,
    contacts: tuple[IntArray, Array, Array],
    limits: tuple[IntArray, Array],
    drive: tuple[Array, Array],
    rubbing: tuple[Array, Array],
    terms: tuple[Array, Array, Array],
) -> tuple[Array, Array, Array, Array, IntArray, Array]:
    """Change `velocity` and `spin` in place; return the fields of `ContactStep` after them."""
    gap, friction, grip = terms
    turn_all(inverse_inertia, spin, 0.5 * dt)
    frame, pair, rows, response, operator, coupling = assembled(
        position, inverse_mass, inverse_inertia, body, contacts, limits
    )
    before = contact_velocity(velocity, spin, pair, rows)
    slip = held_rates(velocity, spin, body[0])
    works = np.zeros(6)
    works[2] = 0.5 * dt * power(load[0], load[1], velocity, spin)
    rubs = len(rubbing[0]) > 0
    if rubs:
        works[3] = 0.5 * dt * power(rubbing[0], rubbing[1], velocity, spin)
    _push(inverse_mass, inverse_inertia, load[0], load[1], dt, velocity, spin)
    if rubs:
        _push(inverse_mass, inverse_inertia, rubbing[0], rubbing[1], dt, velocity, spin)
    wanted = held_rates(velocity, spin, body[0])
    for j in range(len(wanted)):
        mean = 2.0 * drive[0][j] - slip[j] if drive[1][j] != 0.0 else drive[0][j]
        wanted[j] = mean - wanted[j]
    held = give_held(velocity, spin, body, wanted)
    free = contact_velocity(velocity, spin, pair, rows)
    shift = mean_slip(before, grip)
    q = free.copy()
    for k in range(gap.size):
        q[3 * k] += gap[k] / dt
    for i in range(3 * grip.size):
        if i % 3 > 0:
            q[i] += shift[i]
    tolerance = _RELATIVE * _largest(before, free)
    impulse, works[4] = solve_contacts(operator, q, friction, np.zeros(q.size), tolerance)
    more = apply_impulses(velocity, spin, pair, response, impulse, coupling, body)
    works[2] += 0.5 * dt * power(load[0], load[1], velocity, spin)
    if rubs:
        works[3] += 0.5 * dt * power(rubbing[0], rubbing[1], velocity, spin)
    after = contact_velocity(velocity, spin, pair, rows)
    done, end = contact_work(impulse, before, after), held_rates(velocity, spin, body[0])
    for k in range(gap.size):
        works[0] += done[0, k]
        works[1] += done[1, k]
    works[5] = _leap(impulse, before, after, grip.size)
    for j in range(len(held)):
        held[j] += more[j]
        slip[j] = 0.5 * (slip[j] + end[j])
    for i in range(after.size):
        after[i] += shift[i]
    status = contact_status(after, impulse, friction, 100.0 * tolerance)
    turn_all(inverse_inertia, spin, 0.5 * dt)
    count = 3 * grip.size
    pull = impulse[count::3].copy()
    return to_world(frame, impulse[:count]), pull, held, slip, status[: grip.size], works


@compiled
def mean_slip(before: Array, grip: Array) -> Array:
    """Return what to add to u' (3c,) for the laws to hold on u + u', where the slip is small."""
    shift = np.zeros(before.size)
    for k in range(grip.size):
        if np.sqrt(before[3 * k + 1] ** 2 + before[3 * k + 2] ** 2) <= grip[k]:
            shift[3 * k + 1], shift[3 * k + 2] = before[3 * k + 1], before[3 * k + 2]
    return shift


@part_of_caller
def _largest(a: Array, b: Array) -> float:
    """Return the largest magnitude in two arrays of one size, at least 1e-30."""
    size = 1e-30
    for i in range(a.size):
        size = max(size, abs(a[i]), abs(b[i]))
    return size


@part_of_caller
def _push(
    inverse_mass: Array,
    inverse_inertia: Array,
    force: Array,
    torque: Array,
    dt: float,
    velocity: Array,
    spin: Array,
) -> None:
    """Add what force and torque do in dt, without contacts."""
    for body in range(inverse_mass.size):
        for i in range(3):
            velocity[body, i] += dt * inverse_mass[body] * force[body, i]
            for j in range(3):
                spin[body, i] += dt * inverse_inertia[body, i, j] * torque[body, j]


@compiled
def contact_work(impulse: Array, before: Array, after: Array) -> Array:
    """Return normal and friction work (2, c): p.(u + u')/2."""
    works = np.zeros((2, impulse.size // 3))
    for k in range(works.shape[1]):
        for i in range(3):
            j = 3 * k + i
            works[min(i, 1), k] += 0.5 * impulse[j] * (before[j] + after[j])
    return works


@part_of_caller
def _leap(impulse: Array, before: Array, after: Array, count: int) -> float:
    """Return the largest change of velocity [m/s] at the first `count` contacts that push."""
    largest = 0.0
    for k in range(count):
        if impulse[3 * k] > 0.0:
            square = 0.0
            for i in range(3 * k, 3 * k + 3):
                square += (after[i] - before[i]) ** 2
            largest = max(largest, np.sqrt(square))
    return largest


@compiled
def turn_all(inverse_inertia: Array, spin: Array, dt: float) -> None:
    """Turn every spin (n, 3) in place as `turn_freely` does."""
    for body in range(inverse_inertia.shape[0]):
        turn_freely(inverse_inertia[body], spin[body], dt)


@compiled
def turn_freely(inverse_inertia: Array, spin: Array, dt: float) -> None:
    """Turn `spin` w (3,) in place by I dw/dt = -w x I w over dt: implicit midpoint, Newton.

    With d half the change of the angular momentum L and x = w + I^-1 d the mean spin,
    d + dt/2 x x (L + d) = 0; dotted with x this says that w.I w stays.
    """
    momentum, d = spin.copy(), np.zeros(3)
    if not solve_in_place(inverse_inertia.copy(), momentum):
        return
    x, slope, change = np.empty(3), np.empty((3, 3)), np.empty(3)
    size = abs(momentum[0]) + abs(momentum[1]) + abs(momentum[2])
    for _ in range(20):
        _mean_spin(inverse_inertia, spin, d, x)
        _midpoint_misfit(inverse_inertia, momentum, d, x, 0.5 * dt, change, slope)
        if not solve_in_place(slope, change):
            break
        for i in range(3):
            d[i] -= change[i]
        if abs(change[0]) + abs(change[1]) + abs(change[2]) <= 1e-15 * size:
            break
    _mean_spin(inverse_inertia, spin, d, x)
    for i in range(3):
        spin[i] = 2.0 * x[i] - spin[i]


@bare
def _mean_spin(inverse_inertia: Array, spin: Array, d: Array, x: Array) -> None:
    """Fill in x = w + I^-1 d (3,)."""
    for i in range(3):
        x[i] = spin[i]
        for j in range(3):
            x[i] += inverse_inertia[i, j] * d[j]


@bare
def _midpoint_misfit(
    inverse_inertia: Array,
    momentum: Array,
    d: Array,
    x: Array,
    half: float,
    misfit: Array,
    slope: Array,
) -> None:
    """Fill in the misfit (3,) of the midpoint rule and its slope (3, 3) by d; half the step."""
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        own, other = momentum[j] + d[j], momentum[k] + d[k]
        misfit[i] = d[i] + half * (x[j] * other - x[k] * own)
        for m in range(3):
            turn = inverse_inertia[j, m] * other - inverse_inertia[k, m] * own
            slope[i, m] = half * turn
        slope[i, i] += 1.0
        slope[i, k] += half * x[j]
        slope[i, j] -= half * x[k]


@compiled
def _project(
    position: Array,
    inverse_mass: Array,
    inverse_inertia: Array,
    held: tuple[Array, Array, Array],
    contacts: tuple[IntArray, Array, Array],
    limits: tuple[IntArray, Array],
    gap: Array,
    translation: Array,
    rotation: Array,
) -> None:
    """Fill in the displacement; its multipliers obey the contact laws without friction."""
    _, pair, _, response, operator, coupling = assembled(
        position, inverse_mass, inverse_inertia, held, contacts, limits
    )
    q = np.zeros(3 * gap.size)
    scale = 0.0
    for k in range(gap.size):
        q[3 * k] = gap[k]
        scale = max(scale, -q[3 * k])
    if scale == 0.0:
        return
    multiplier, _ = solve_contacts(operator, q, np.zeros(gap.size), np.zeros(q.size), 1e-12 * scale)
    apply_impulses(translation, rotation, pair, response, multiplier, coupling, held)
