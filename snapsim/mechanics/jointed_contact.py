"""Contact and blows of jointed bodies: the joints are taken out of the inverse mass first.

    u' = u + W (dt f + J^T p) + W' G^T q,     J (u' + u)/2 = r,     W' = W - W J^T (J W J^T)^+ J W

G the rows of contacts and of one-sided joint rows (taut strings, stops; no friction), q their
impulses, by the laws of `sustained_contact` or `impact` on the operator G W' G^T; J the rows that
joints keep, p their impulses, r the rate they are driven at. With the mean of old and new
velocities on the joints in the middle of a step, joints do no work but what drives them. In a blow
the new velocities themselves are on the joints. Assumes what those modules assume, and joints that
are rigid and without play in blows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.cone_complementarity import contact_status, solve_contacts
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.delassus import contact_frames, contact_jacobian, to_world
from snapsim.mechanics.impact import Blow, blow_on_operator, standing_apart
from snapsim.mechanics.linkage import (
    FRICTION,
    HELD,
    Elimination,
    Linkage,
    Stack,
    inverse_mass_matrix,
    stacked_velocity,
    with_velocity,
)
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.mechanics.simultaneous_blows import STEP
from snapsim.mechanics.sustained_contact import ContactStep, contact_work, mean_slip, turn_all
from snapsim.parts.states import State


@dataclass(frozen=True)
class JointedStep(ContactStep):
    """A contact step with joints: `force` and `torque` (j, 3) of the joints as `Reactions` has
    them, `wrench` (n, 6) on the bodies, `held` (m,) impulses of the rows kept and `pull` (k,) of
    the one-sided rows, `drive_work` [J], `rubbing_work` [J] of the joints' friction."""

    force: Array
    torque: Array
    wrench: Array
    held: Array
    pull: Array
    drive_work: float
    rubbing_work: float


def unilateral_rows(state: State, contacts: ContactSet, limits: Stack) -> Array:
    """Return G (3(c+k), 6n): contacts in their own axes, then one-sided rows, two axes idle."""
    count, width = len(contacts.gap), 6 * len(state.velocity)
    matrix = np.zeros((3 * (count + len(limits)), width))
    if count:
        frame = contact_frames(contacts.normal)
        blocks = contact_jacobian(state.pose.position, contacts.pair, contacts.point, frame)
        for k in range(count):
            for side in range(2):
                body = int(contacts.pair[k, side])
                matrix[3 * k : 3 * k + 3, 6 * body : 6 * body + 6] += blocks[k, side]
    matrix[3 * count :: 3] = limits.jacobian
    return matrix


def unilateral_operator(rows: Array, reduced: Array, inverse_mass: Array, contacts: int) -> Array:
    """Return G W' G^T (3c, 3c); idle axes of one-sided rows get the row's own diagonal."""
    operator = rows @ reduced @ rows.T
    operator = 0.5 * (operator + operator.T)
    for n in range(3 * contacts, len(operator), 3):
        operator[n + 1, n + 1] = operator[n + 2, n + 2] = operator[n, n]
    loose = np.einsum("ri,ij,rj->r", rows, inverse_mass, rows)
    loose[loose == 0.0] = np.diag(operator)[loose == 0.0]
    free = np.diag(operator) > HELD * loose
    operator[~free] = operator[:, ~free] = 0.0  # nothing can move there
    return np.ascontiguousarray(operator)


def jointed_blow(
    bodies: RigidBodies,
    state: State,
    contacts: ContactSet,
    friction: Array,
    restitution: Array,
    limits: Stack,
    bounce: Array,
    joints: Stack,
) -> Blow:
    """Return what a blow does; the first c entries of its arrays are contacts, then `limits` (k,).

    `restitution`, `friction` (c,) of the contacts, `bounce` (k,) of the one-sided rows; `joints`
    holds the rows that take part. The start must be on the joints.
    """
    count, u = len(contacts.gap), stacked_velocity(state)
    inverse_mass = inverse_mass_matrix(bodies, state.pose.quaternion)
    reduced = Elimination(joints.jacobian, inverse_mass).reduced(inverse_mass)
    rows = unilateral_rows(state, contacts, limits)
    operator, before = unilateral_operator(rows, reduced, inverse_mass, count), rows @ u
    apart = standing_apart(state.pose.position, contacts.pair, contacts.point, contacts.normal)
    impulse, works, steps = blow_on_operator(
        operator,
        before,
        np.concatenate([restitution, bounce]),
        np.concatenate([friction, np.zeros(len(limits))]),
        np.concatenate([apart, np.ones(len(limits), dtype=np.bool_)]),
        STEP,
    )
    after = with_velocity(state, u + reduced @ (rows.T @ impulse))
    normal = np.diag(operator)[::3]
    mass = np.divide(1.0, normal, out=np.full(len(normal), np.inf), where=normal > 0)
    frame = contact_frames(contacts.normal) if count else np.zeros((0, 3, 3))
    world = np.zeros((count + len(limits), 3))
    if count:
        world[:count] = to_world(frame, impulse[: 3 * count])
    world[count:, 0] = impulse[3 * count :: 3]
    lost = -float(works.sum())
    return Blow(
        after.velocity, after.spin, world, works[0], works[1], mass, -before[::3], lost, steps
    )


@dataclass(frozen=True)
class StepRows:
    """What may hold in a step: `contacts` (c) with the `room` (c,) [m] that each has and its
    `friction` (c,), one-sided rows `limits` (k) with theirs, the rows of `joints` that are kept,
    and the friction rows `rubbing` that slip under `rubbing_load` [N or N m]; `grip` (c,) as in
    `contact_step`."""

    contacts: ContactSet
    room: Array
    friction: Array
    limits: Stack
    limit_room: Array
    joints: Stack
    rubbing: Stack
    rubbing_load: Array
    grip: Array | None = None


@dataclass(frozen=True)
class _SolvedStep:
    """A step as solved: velocities `old` and `new` (6n,), loads `applied` (6n,), `matrix` of the
    unilateral rows with `impulse`, friction `mu`, `shift` [m/s] of their slip, and the impulses
    `held` of the rows kept; solved to `tolerance` [m/s], up to `residual`."""

    old: Array
    new: Array
    applied: Array
    matrix: Array
    impulse: Array
    mu: Array
    shift: Array
    held: Array
    tolerance: float
    residual: float


def jointed_step(
    linkage: Linkage,
    bodies: RigidBodies,
    state: State,
    force: Array,
    torque: Array,
    dt: float,
    rows: StepRows,
    *,
    stop: bool = False,
) -> JointedStep:
    """Return the end of a step of `dt` [s] with the contacts and joints at the pose of `state`.

    With `stop` the new velocities are on the joints, not the mean: a blow without rebound.
    """
    turned = state.spin.copy()
    inverse = bodies.inverse_inertia_world(state.pose.quaternion)
    turn_all(inverse, turned, 0.5 * dt)
    begin = State(state.pose, state.velocity, turned)
    applied = np.concatenate([force, torque], axis=1).ravel()
    solved = _solved(
        begin, inverse_mass_matrix(bodies, state.pose.quaternion), applied, dt, rows, stop
    )
    found = _finished(linkage, state, dt, rows, solved)
    spin = found.spin.copy()
    turn_all(inverse, spin, 0.5 * dt)
    return replace(found, spin=spin)


def _solved(
    state: State, inverse_mass: Array, applied: Array, dt: float, given: StepRows, stop: bool
) -> _SolvedStep:
    """Find new velocities and impulses from those of `state`, under the loads `applied`."""
    joints, rubbing, count = given.joints, given.rubbing, len(given.contacts.gap)
    old = stacked_velocity(state)
    elimination = Elimination(joints.jacobian, inverse_mass)
    reduced = elimination.reduced(inverse_mass)
    pushed = old + dt * inverse_mass @ (applied + rubbing.jacobian.T @ given.rubbing_load)
    kept_mean = 2 * joints.rate - joints.jacobian @ old
    wanted = np.where((joints.kind == FRICTION) | stop, joints.rate, kept_mean)
    first = elimination.solve(wanted - joints.jacobian @ pushed)
    free = pushed + elimination.response @ first
    rows = unilateral_rows(state, given.contacts, given.limits)
    operator, q = unilateral_operator(rows, reduced, inverse_mass, count), rows @ free
    shift = np.zeros(len(q))
    if given.grip is not None:
        shift[: 3 * count] = mean_slip((rows @ old)[: 3 * count], given.grip)
    q += shift
    q[::3] += np.concatenate([given.room, given.limit_room]) / dt
    mu = np.concatenate([given.friction, np.zeros(len(given.limits))])
    tolerance = 1e-12 * float(np.abs([rows @ old, rows @ free]).max(initial=1e-30))
    impulse, residual = solve_contacts(operator, q, mu, np.zeros(len(q)), tolerance)
    new = free + reduced @ (rows.T @ impulse)
    held = first - elimination.solve(elimination.response.T @ (rows.T @ impulse))
    return _SolvedStep(old, new, applied, rows, impulse, mu, shift, held, tolerance, residual)


def _finished(
    linkage: Linkage, state: State, dt: float, given: StepRows, solved: _SolvedStep
) -> JointedStep:
    """Book works and reactions of a solved step."""
    contacts, limits, joints = given.contacts, given.limits, given.joints
    rubbing, rubbing_load = given.rubbing, given.rubbing_load
    old, new, rows = solved.old, solved.new, solved.matrix
    impulse, held = solved.impulse, solved.held
    count, mean = len(contacts.gap), 0.5 * (old + new)
    works = contact_work(impulse, rows @ old, rows @ new)
    end = with_velocity(state, new)
    frame = contact_frames(contacts.normal) if count else np.zeros((0, 3, 3))
    pull = impulse[3 * count :: 3]
    held_work = held * (joints.jacobian @ mean)
    stuck = joints.kind == FRICTION
    load = [
        linkage.loads(stack, size, state.pose)
        for stack, size in ((joints, held / dt), (limits, pull / dt), (rubbing, rubbing_load))
    ]
    push = joints.jacobian.T @ held + limits.jacobian.T @ pull
    slip = rows @ new + solved.shift
    status = contact_status(slip, impulse, solved.mu, 100 * solved.tolerance)
    return JointedStep(
        end.velocity,
        end.spin,
        to_world(frame, impulse[: 3 * count]) if count else np.zeros((0, 3)),
        float(works[0].sum()),
        float(works[1].sum()),
        float(dt * solved.applied @ mean),
        status[:count],
        float(solved.residual),
        sum((force for force, _ in load), np.zeros((len(linkage.joints), 3))),
        sum((torque for _, torque in load), np.zeros((len(linkage.joints), 3))),
        (push / dt + rubbing.jacobian.T @ rubbing_load).reshape(-1, 6),
        held,
        pull,
        float(held_work[~stuck].sum()),
        float(held_work[stuck].sum() + dt * rubbing_load @ (rubbing.jacobian @ mean)),
    )
