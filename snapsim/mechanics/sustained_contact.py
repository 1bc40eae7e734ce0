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

Assumes rigid bodies, dry friction with one coefficient, no resistance to rolling. Sources: Moreau,
Unilateral contact and dry friction in finite freedom dynamics, CISM 302 (1988); Jean, Comput.
Methods Appl. Mech. Eng. 177, 235 (1999) (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, ArrayLike, IntArray, as_floats
from snapsim.mechanics.cone_complementarity import contact_status, solve_contacts
from snapsim.mechanics.coulomb_cone import SEPARATED, SLIDING, STICKING
from snapsim.mechanics.delassus import (
    apply_impulse,
    contact_frames,
    contact_jacobian,
    contact_velocity,
    delassus_operator,
    impulse_response,
    to_world,
)
from snapsim.mechanics.linear_system import solve_in_place
from snapsim.mechanics.rigid_bodies import power
from snapsim.numerics import rotations
from snapsim.numerics.compilation import bare, compiled, part_of_caller

__all__ = [
    "SEPARATED",
    "SLIDING",
    "STICKING",
    "ContactStep",
    "contact_step",
    "project_out",
]

_RELATIVE = 1e-12


@dataclass(frozen=True)
class ContactStep:
    """The end of a step. n bodies, c contacts.

    `velocity`, `spin` (n, 3) world axes [m/s, rad/s]; `impulse` (c, 3) on a, world axes [N s];
    `normal_work`, `friction_work` [J] done by all contacts; `applied_work` [J] done by force
    and torque; `status` (c,) SEPARATED, STICKING or SLIDING; `residual` [m/s] misfit of the
    contact laws, of order 1e-12 of the speeds met where solved.
    """

    velocity: Array
    spin: Array
    impulse: Array
    normal_work: float
    friction_work: float
    applied_work: float
    status: IntArray
    residual: float


def contact_step(
    inverse_mass: ArrayLike,
    inverse_inertia_world: ArrayLike,
    position: ArrayLike,
    velocity: ArrayLike,
    spin: ArrayLike,
    force: ArrayLike,
    torque: ArrayLike,
    dt: float,
    pair: IntArray,
    point: ArrayLike,
    normal: ArrayLike,
    gap: ArrayLike,
    friction: ArrayLike,
    *,
    grip: ArrayLike = 0.0,
    guess: Array | None = None,
    opening: bool = False,
) -> ContactStep:
    """Return velocities after `dt` [s] under `force`, `torque` (n, 3) and the given contacts.

    Shapes as in `resolve_impact`; `gap` (c,) [m]; `friction` and `grip` [m/s], the slip that the
    pose's turning explains (`turning_slip`), (c,) or a scalar. `guess` (c, 3) impulses in world
    axes to start from, as the last step left them (warm start). Of a negative gap counts only what
    turning explains; with `opening` it must have opened by as much at the end, at the final speed.
    """
    pairs = np.ascontiguousarray(pair, dtype=np.int64).reshape(-1, 2)
    count, room, slip = pairs.shape[0], as_floats(gap).reshape(-1), _each(grip, len(pairs))
    after, turning = as_floats(velocity).copy(), as_floats(spin).copy()
    impulse, works, status = _step(
        as_floats(inverse_mass),
        as_floats(inverse_inertia_world),
        as_floats(position),
        after,
        turning,
        as_floats(force),
        as_floats(torque),
        float(dt),
        pairs,
        as_floats(point).reshape(-1, 3),
        as_floats(normal).reshape(-1, 3),
        room if opening else np.maximum(room, -dt * slip),
        _each(friction, count),
        slip,
        np.zeros((count, 3)) if guess is None else as_floats(guess),
    )
    normal_work, friction_work, applied, residual = works.tolist()
    return ContactStep(
        after, turning, impulse, normal_work, friction_work, applied, status, residual
    )


def project_out(
    inverse_mass: ArrayLike,
    inverse_inertia_world: ArrayLike,
    position: ArrayLike,
    quaternion: ArrayLike,
    pair: IntArray,
    point: ArrayLike,
    normal: ArrayLike,
    gap: ArrayLike,
    tolerance: float = 0.0,
) -> tuple[Array, Array]:
    """Return position (n, 3) and quaternion (n, 4) with no gap below -tolerance [m].

    The smallest displacement d weighted by mass: 1/2 d.M d least subject to gap + G_n d >=
    -tolerance; first order in d, so deep penetration takes a second call. It changes no
    velocity, hence no kinetic energy.
    """
    pairs = np.ascontiguousarray(pair, dtype=np.int64).reshape(-1, 2)
    moved, turned = as_floats(position).copy(), as_floats(quaternion).copy()
    translation, rotation = np.zeros(moved.shape), np.zeros(moved.shape)
    _project(
        as_floats(inverse_mass),
        as_floats(inverse_inertia_world),
        moved,
        pairs,
        as_floats(point).reshape(-1, 3),
        as_floats(normal).reshape(-1, 3),
        as_floats(gap).reshape(-1),
        float(tolerance),
        translation,
        rotation,
    )
    for body in np.flatnonzero(np.any(rotation != 0.0, axis=1)):
        turn = rotations.from_rotation_vector(rotation[body])
        turned[body] = rotations.normalise(rotations.multiply(turn, turned[body]))
    return moved + translation, turned


def _each(value: ArrayLike, count: int) -> Array:
    """Return one number per contact (c,) from one for each or one for all."""
    each = as_floats(value)
    return each if each.shape == (count,) else np.full(count, each)


@compiled
def _step(
    inverse_mass: Array,
    inverse_inertia: Array,
    position: Array,
    velocity: Array,
    spin: Array,
    force: Array,
    torque: Array,
    dt: float,
    pair: IntArray,
    point: Array,
    normal: Array,
    gap: Array,
    friction: Array,
    grip: Array,
    guess: Array,
) -> tuple[Array, Array, IntArray]:
    """Change `velocity` and `spin` in place; return impulse, status and, in between, four numbers:
    normal, friction and applied work and the misfit."""
    turn_all(inverse_inertia, spin, 0.5 * dt)
    frame = contact_frames(normal)
    jacobian = contact_jacobian(position, pair, point, frame)
    response = impulse_response(inverse_mass, inverse_inertia, pair, jacobian)
    operator = delassus_operator(pair, jacobian, response)
    before = contact_velocity(velocity, spin, pair, jacobian)
    applied = 0.5 * dt * power(force, torque, velocity, spin)
    _push(inverse_mass, inverse_inertia, force, torque, dt, velocity, spin)
    free = contact_velocity(velocity, spin, pair, jacobian)
    shift = mean_slip(before, grip)
    q = free.copy()
    for k in range(gap.size):
        q[3 * k] += gap[k] / dt
        for i in range(1, 3):
            q[3 * k + i] += shift[3 * k + i]
    tolerance = _RELATIVE * _largest(before, free)
    impulse, residual = solve_contacts(operator, q, friction, _to_local(frame, guess), tolerance)
    apply_impulse(velocity, spin, pair, response, impulse)
    applied += 0.5 * dt * power(force, torque, velocity, spin)
    after = contact_velocity(velocity, spin, pair, jacobian)
    works, sums = contact_work(impulse, before, after), np.zeros(4)
    for k in range(gap.size):
        sums[0] += works[0, k]
        sums[1] += works[1, k]
    sums[2], sums[3] = applied, residual
    for i in range(after.size):
        after[i] += shift[i]
    status = contact_status(after, impulse, friction, 100.0 * tolerance)
    turn_all(inverse_inertia, spin, 0.5 * dt)
    return to_world(frame, impulse), sums, status


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
def _to_local(frame: Array, world: Array) -> Array:
    """Return world vectors (c, 3) in the contacts' axes (3c,)."""
    local = np.zeros(3 * frame.shape[0])
    for k in range(frame.shape[0]):
        for axis in range(3):
            for i in range(3):
                local[3 * k + axis] += frame[k, axis, i] * world[k, i]
    return local


@compiled
def contact_work(impulse: Array, before: Array, after: Array) -> Array:
    """Return normal and friction work (2, c): p.(u + u')/2."""
    works = np.zeros((2, impulse.size // 3))
    for k in range(works.shape[1]):
        for i in range(3):
            j = 3 * k + i
            works[min(i, 1), k] += 0.5 * impulse[j] * (before[j] + after[j])
    return works


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
    inverse_mass: Array,
    inverse_inertia: Array,
    position: Array,
    pair: IntArray,
    point: Array,
    normal: Array,
    gap: Array,
    tolerance: float,
    translation: Array,
    rotation: Array,
) -> None:
    """Fill in the displacement; its multipliers obey the contact laws without friction."""
    frame = contact_frames(normal)
    jacobian = contact_jacobian(position, pair, point, frame)
    response = impulse_response(inverse_mass, inverse_inertia, pair, jacobian)
    operator = delassus_operator(pair, jacobian, response)
    q = np.zeros(3 * gap.size)
    scale = 0.0
    for k in range(gap.size):
        q[3 * k] = gap[k] + tolerance
        scale = max(scale, -q[3 * k])
    if scale == 0.0:
        return
    multiplier, _ = solve_contacts(operator, q, np.zeros(gap.size), np.zeros(q.size), 1e-12 * scale)
    apply_impulse(translation, rotation, pair, response, multiplier)
