"""The phase of sustained contact: one step of bodies that slide, roll or rest on each other.

While slow contacts last, the motion is stepped by the midpoint form of Moreau's scheme: drift half
a step at the old velocity, solve velocity-level contact and friction with the forces and contacts
found there (`sustained_contact`), drift half a step at the new one (Moreau 1988; Acary & Brogliato,
Numerical Methods for Nonsmooth Dynamical Systems, 2008, section 10.1; from memory). It is of second
order in the step where contacts last, and the change of kinetic energy equals the booked works
identically. A step is solved again, shorter, where the load changed too much, an open contact
closes or bodies sank into each other. Taut strings and stops are contacts without friction
(`step_of_joints`).
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.books import Books
from snapsim.mechanics.brake import Brake, EvenStep, Stirred, moving, slowing
from snapsim.mechanics.contact import ContactSet, separation_rate
from snapsim.mechanics.ending import Unsolved
from snapsim.mechanics.joint_changes import limits_of
from snapsim.mechanics.joint_modes import NEAR, next_stop, part, tied
from snapsim.mechanics.lasting_contacts import (
    add_pressing_loads,
    counterparts,
    load_change,
    longest,
    one_sided,
    pressed_bodies,
    pushes,
    terms,
)
from snapsim.mechanics.linkage import on_joints_velocity, stacked_velocity
from snapsim.mechanics.mobility import mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.phases.pushing_out import EVEN_ENOUGH, pushed_out, settled
from snapsim.mechanics.phases.step_of_joints import (
    JointStep,
    joint_step,
    limit_gaps,
    limits_in,
    no_joints,
)
from snapsim.mechanics.phases.strike import jam
from snapsim.mechanics.position_correction import owed
from snapsim.mechanics.present import Past, Present, Pressed, present
from snapsim.mechanics.records import Frame, Strike
from snapsim.mechanics.rigid_bodies import drift
from snapsim.mechanics.sustained_contact import ContactStep, StepTerms, contact_step
from snapsim.parts.states import Pose, State

DEAREST: Final = 5e-3
"""Share of the kinetic energy that normal forces may take in a step: a tenth of what can be given
back at once (`position_correction`)."""

HOP: Final = 1e-6
"""Speed [m/s] by which a contact opens that hops: below, it sinks by less than a nanometre."""

LEAP: Final = 8.0
"""Change of a contact's velocity over what the applied forces make of any point's, above which a
step is looked at for a shock."""

SUDDEN: Final = 1e-7
"""Length [s] of the step in which a shock is placed: a blow takes tens of microseconds."""

EVENLY: Final = 0.15, 0.4
"""Shares of a step's change that a quarter of it makes where forces do it."""

BRAKED: Final = 0.25
"""Length of a step times the rate at which a brake stops bodies, at most."""

TURNS: Final = 30
"""Turns by which brake and motion of a step find each other, at most: each is an eighth nearer."""

SAME: Final = 1e-11
"""Share of the velocities, and velocity [m/s] and spin [rad/s], to which they do."""

MISSED: Final = 1e-6
"""Share of the velocities by which they may miss each other; a step that misses by more is solved
again, shorter."""

TRIALS: Final = 40
"""Trials of one step, at most: each has 0.7 of the last one's length, but where contacts close."""

UNHEARD: Final = 1e-7
"""Length [s] of a step that is not made shorter for what its solver left."""

SHORTEST: Final = 1e-9
"""Shortest step of sustained contact [s], in which a fast gap closes by less than it is known."""

NOTHING: Final[tuple[IntArray, Array, IntArray]] = (
    np.zeros((0, 2), dtype=np.int64),
    np.zeros((0, 3)),
    np.zeros(0, dtype=np.int64),
)
"""Pairs, points and status of no contact."""


@dataclass(frozen=True)
class Trial:
    """A step of `dt` [s], solved but not yet taken: loads (n, 3), contacts and joints of its
    `middle`, where all have the old velocities."""

    dt: float
    middle: State
    force: Array
    torque: Array
    contacts: ContactSet
    joints: JointStep
    step: ContactStep
    braked: Braked | None = None

    @property
    def ahead(self) -> State:
        """The middle with the new velocities."""
        return State(self.middle.pose, self.step.velocity, self.step.spin)


@dataclass(frozen=True)
class Braked:
    """What a brake does in a step: its `even` course, for the bodies `moved` (6 n,) in the mean;
    `missed`, the share of these by which brake and motion disagree."""

    even: EvenStep
    moved: Array
    missed: float

    @property
    def wrench(self) -> Array:
        """Mean force and torque (n, 6) [N, N m]."""
        return self.even.wrench(self.moved)


@dataclass(frozen=True)
class Sides:
    """One-sided contacts (c,) of a trial, strings and stops after them: gap at its `start` and
    `gap` in its middle [m or rad], `rate` there by the velocities before it, impulse `push`, and
    the gap `near` under which each counts as closed."""

    start: Array
    gap: Array
    rate: Array
    push: Array
    near: Array


def press(
    now: Present, problem: MotionProblem, books: Books
) -> Generator[Frame | Strike, None, Present]:
    """Take one step with contacts that last, ended early where a new one closes or a slide jams."""
    trial = _tried(now, problem, _duration(now, problem))
    sinking = now.past.sinking_length
    for _ in range(TRIALS):
        following, sooner = _smoother_step(now, problem, trial)
        if sooner is None:
            sooner, trial = _closing_time(now, problem, trial)
        if sooner is None:
            sooner = _sinking_time(problem, trial)
            sinking = sinking if sooner is None else sooner
        if sooner is None:
            sooner = _cheaper_time(problem, trial)
        if sooner is None:
            sooner = _solvable_time(problem, trial)
        if sooner is None:
            sooner = _jamming_time(now, problem, trial)
        if sooner is None:
            break
        trial = _tried(now, problem, sooner)
    else:
        books.take_unsolved(Unsolved.LENGTH)
    shock = _jammed(now, problem, books, trial)
    if shock is not None:
        yield shock[0]
        return shock[1]
    after = _accepted(now, problem, books, trial, (following, 1.5 * sinking))
    if books.time - books.last_frame >= problem.settings.frame_spacing:
        yield books.frame(after.state, touching=True)
    return after


def lasting(now: Present, contacts: ContactSet) -> BoolArray:
    """Return which contacts (c,) stayed pressed in the last step."""
    last = now.past.pressed
    return _then(now, contacts, None if last is None else last.stayed)


def returning(now: Present, contacts: ContactSet) -> BoolArray:
    """Return which contacts (c,) hopped in the last step."""
    last = now.past.pressed
    return _then(now, contacts, None if last is None else last.hopped)


def _then(now: Present, contacts: ContactSet, known: BoolArray | None) -> BoolArray:
    """What is `known` of the last step's contacts (k,), for those (c,) that carry on from them."""
    last = now.past.pressed
    if last is None or known is None or not len(contacts) or not len(last.contacts):
        return np.zeros(len(contacts), dtype=bool)
    nearest = counterparts(*contacts.where, *last.contacts.where)
    carries_on: BoolArray = (nearest >= 0) & known[nearest]
    return carries_on


def _hopped(now: Present, trial: Trial) -> BoolArray:
    """Return which contacts (c,) that press in a trial were opening when it began.

    They come back as fast as they left, so that the step costs nothing: a hop shorter than the
    step, which ends with a landing. Opening by a step's error, as along a bent surface, is none.
    """
    contacts, near = trial.contacts, now.near
    opening = now.rates > HOP
    if not opening.any():
        return np.zeros(len(contacts), dtype=bool)
    nearest = counterparts(*contacts.where, *near.where)
    found: BoolArray = (nearest >= 0) & opening[nearest]
    return found if now.past.struck else found & ~lasting(now, contacts)


# -- a trial -----------------------------------------------------------------------------------


def _duration(now: Present, problem: MotionProblem) -> float:
    """Step [s]: small turns, and small displacement by the present acceleration."""
    settings, spin, past = problem.settings, longest(now.state.spin), now.past
    fall = (problem.fall / now.acceleration) ** 0.5 if now.acceleration > 0 else np.inf
    dt = min(settings.contact_step, fall, past.contact_length, past.sinking_length)
    dt = min(dt, _braking_time(now, problem))
    if spin > 0:
        dt = min(dt, settings.turn / spin)
    dt = min(dt, max(problem.duration - now.time, 1e-9))
    return float(min(dt, next_stop(problem, now.time, now.mode) - now.time))


def _braking_time(now: Present, problem: MotionProblem) -> float:
    """Step [s] in which a brake stops bodies little enough to be found by turns (`_solved`)."""
    if problem.brake is None:
        return np.inf
    slows = now.past.slowing
    if slows is None:
        slows = _slowing(problem, problem.brake, now.state.pose)
    return BRAKED / max(slows, 1e-9)


def _slowing(problem: MotionProblem, brake: Brake, pose: Pose) -> float:
    bodies = problem.bodies
    turning = np.linalg.norm(bodies.inverse_inertia, ord=2, axis=(1, 2))
    inverse = np.repeat(np.stack([bodies.inverse_mass, turning], axis=1), 3, axis=1)
    return slowing(brake, pose, inverse, problem.settings.contact_step)


def _tried(now: Present, problem: MotionProblem, dt: float) -> Trial:
    """Solve one step of `dt` [s] with the forces and contacts of its middle."""
    state = now.state
    pose = drift(state.pose, state.velocity, state.spin, dt / 2)
    middle = State(pose, state.velocity, state.spin)
    force, torque = problem.pressing_loads(middle.pose)
    speed = problem.bodies.rim_speeds(state).max(initial=0.0) + dt * now.acceleration
    contacts = problem.geometry.contacts(middle.pose, problem.settings.touch + dt * speed)
    return _solved(now, problem, dt, middle, (force, torque), contacts)


def _solved(
    now: Present,
    problem: MotionProblem,
    dt: float,
    middle: State,
    load: tuple[Array, Array],
    contacts: ContactSet,
    chosen: BoolArray | None = None,
) -> Trial:
    """The step with some contacts and `chosen` strings and stops (all of them without it); what a
    brake does follows from how the bodies move in it, and the other way round."""
    if problem.brake is None or now.past.stirred is None:
        return _stepped(now, problem, dt, middle, load, contacts, chosen)
    grips = problem.brake.grips(middle.pose)
    even = EvenStep(problem.brake.time, grips, now.past.stirred, dt)
    braked = Braked(even, moving(middle), np.inf)
    for _ in range(TURNS):
        wrench = braked.wrench
        whole = load[0] + wrench[:, :3], load[1] + wrench[:, 3:]
        trial = _stepped(now, problem, dt, middle, whole, contacts, chosen)
        moved = 0.5 * (moving(middle) + moving(trial.ahead))
        missed = float(np.abs(moved - braked.moved).max() / max(np.abs(moved).max(), SAME))
        braked = Braked(even, moved, missed)
        if missed <= SAME:
            break
    return replace(trial, force=load[0], torque=load[1], braked=braked)


def _stepped(
    now: Present,
    problem: MotionProblem,
    dt: float,
    middle: State,
    load: tuple[Array, Array],
    contacts: ContactSet,
    chosen: BoolArray | None = None,
) -> Trial:
    """The step under a known load."""
    body = mobility(problem.bodies, middle.pose.quaternion)
    given = _terms(now, problem, middle, body.inverse_inertia, contacts, dt)
    pulled = load[0] + problem.weight, load[1]
    if now.mode.attached:
        step, joints = joint_step(now, problem, middle, pulled, dt, contacts, given, chosen)
    else:
        step, joints = contact_step(body, middle, pulled, dt, contacts, given), no_joints(problem)
    return Trial(dt, middle, *load, contacts, joints, step)


def _terms(
    now: Present,
    problem: MotionProblem,
    middle: State,
    inverse_inertia: Array,
    contacts: ContactSet,
    dt: float,
) -> StepTerms:
    """What the contacts may do: the slip that turning explains is none where one slid before."""
    last, touch = now.past.pressed, problem.settings.touch
    before = NOTHING if last is None else (*last.contacts.where, last.status)
    found = terms(
        middle.pose.position,
        inverse_inertia,
        middle.velocity,
        middle.spin,
        contacts.fields,
        (*now.near.where, now.rates),
        before,
        problem.friction_table,
        dt,
        touch,
        max(4 * touch / dt, dt * now.acceleration),
    )
    return StepTerms(*found)


# -- whether it will do --------------------------------------------------------------------------


def _smoother_step(
    now: Present, problem: MotionProblem, trial: Trial
) -> tuple[float, float | None]:
    """The length [s] that the change of the load allows the next step, and the same for this one
    where it changed too much since the last; None where it fits.

    The midpoint rule's error in the work is about the square of that change over 24.
    """
    far = 1.0 if now.past.pressed is not None else 2.0  # from the step's start to its middle
    loads = trial.force, trial.torque, now.force, now.torque
    change = far * load_change(problem.least_load, problem.bodies.reach, *loads)
    allowed = problem.settings.load_change
    following = trial.dt * min(max(allowed / max(change, 1e-9), 0.3), 2.0)
    fits = change < 2 * allowed or trial.dt < 1e-6
    return following, None if fits else following


def _sinking_time(problem: MotionProblem, trial: Trial) -> float | None:
    """A shorter step where bodies sink into each other by more than `touch`; None where not.

    Contacts that wander fast, as those of a disc about to lie flat, need it: pushed out from
    deeper, they are struck.
    """
    pose = drift(trial.middle.pose, trial.step.velocity, trial.step.spin, trial.dt / 2)
    depth, touch = problem.geometry.depth(pose), problem.settings.touch
    if depth <= touch or trial.dt < 1e-8:
        return None
    return trial.dt * float(max(0.3, min(0.7, (touch / depth) ** 0.5)))


def _cheaper_time(problem: MotionProblem, trial: Trial) -> float | None:
    """A shorter step where contacts took too much of the motion to give it back; None where not.

    Along a bent surface that is an error of the step (`_held_back`), of third order in its length.
    What lies still has nothing to give, and may have to wait: for a hand, for a current to end.
    """
    fastest = problem.bodies.rim_speeds(trial.ahead)
    if ((fastest < problem.settings.rest) | ~problem.bodies.free).all():
        return None
    has = float(problem.bodies.kinetic_energies(trial.ahead).sum())
    if trial.step.normal_work >= -DEAREST * has or trial.dt < 1e-7:
        return None
    return 0.5 * trial.dt


def _solvable_time(problem: MotionProblem, trial: Trial) -> float | None:
    """A shorter step where the solver left the laws of contact by more than what counts as closed,
    or brake, bearings and motion disagree; None where not. Of many contacts that stick not every
    step is solved to the last digit."""
    if not _unsolved(problem, trial) or trial.dt < UNHEARD:
        return None
    return 0.5 * trial.dt


def _unsolved(problem: MotionProblem, trial: Trial) -> list[Unsolved]:
    """What a trial is not solved for."""
    braked, found = trial.braked, []
    if not trial.step.residual <= problem.settings.landing:
        found.append(Unsolved.CONTACT)
    if braked is not None and not braked.missed <= MISSED:
        found.append(Unsolved.BRAKE)
    if not trial.joints.agreed:
        found.append(Unsolved.BEARING)
    return found


def _leaps(now: Present, problem: MotionProblem, trial: Trial) -> bool:
    """Whether a contact's velocity changes by more than what is applied explains."""
    explained = LEAP * trial.dt * now.acceleration
    return trial.step.leap > max(now.slow(problem), explained)


def _jamming_time(now: Present, problem: MotionProblem, trial: Trial) -> float | None:
    """A shorter step where contacts change the motion by a shock; None where not, or where it is
    short enough to place that.

    What forces do in a quarter of the step is about a quarter of what they do in all of it; a shock
    is there or is not.
    """
    if trial.dt <= SUDDEN or not _leaps(now, problem, trial):
        return None
    sooner = max(0.25 * trial.dt, SUDDEN)
    share = _tried(now, problem, sooner).step.leap / trial.step.leap
    return None if EVENLY[0] < share < EVENLY[1] else sooner


def _jammed(
    now: Present, problem: MotionProblem, books: Books, trial: Trial
) -> tuple[Strike, Present] | None:
    """The blow of a slide that jams in a trial, and the moment after it; None where none does.

    It acts in the middle of the trial, which is as far as the bodies go before it.
    """
    if trial.dt > SUDDEN or not _leaps(now, problem, trial):
        return None
    time = now.time + 0.5 * trial.dt
    past = replace(now.past, pressed=None)
    found = jam(present(problem, time, trial.middle, now.mode, past), problem, books)
    if found is not None:
        books.time = time
    return found


def _closing_time(now: Present, problem: MotionProblem, trial: Trial) -> tuple[float | None, Trial]:
    """A shorter step that ends where a contact that was open closes, or None and a trial.

    The gap is taken as a parabola in time, from its rates at the start and at the end of the same
    step without the closing contacts. Where that step ends just as they close, it is the one to
    take: what they close with is then a blow of its own.
    """
    dt, sides = trial.dt, _sides(now, problem, trial)
    gap, rate = sides.start, sides.rate
    new = (gap > sides.near) | (rate > now.slow(problem))
    if dt <= SHORTEST or not (new & (sides.push > 0)).any():
        return None, trial
    free = _without(now, problem, trial, new)
    ahead = free.ahead
    end = separation_rate(ahead.pose, ahead.velocity, ahead.spin, trial.contacts)
    if now.mode.attached:
        limits = limits_in(trial.joints.rows)
        end = np.append(end, limits.jacobian @ stacked_velocity(ahead))
    near = 0.5 * sides.near[new]
    if np.all((sides.gap + end * dt / 2)[new] > -near):
        return None, free
    above = np.maximum(gap[new] - near, 0.0)
    when, speed = closings(above, rate[new], end[new], dt)
    blows = (when < dt) & (speed >= problem.settings.landing)
    if not np.any(blows):
        return None, trial
    return float(np.clip(when[blows].min(), SHORTEST, 0.999 * dt)), trial


def closings(gap: Array, rate: Array, end: Array, dt: float) -> tuple[Array, Array]:
    """When each of some gaps closes (c,) [s], infinite where never, and its closing speed then.

    `gap` >= 0 and `rate` (c,) at the start, rates `end` (c,) after `dt`, bent evenly in between.
    A gap that opens at first closes where it has bent back.
    """
    bend = (end - rate) / dt
    square = rate**2 - 2 * bend * gap
    root = np.sqrt(np.maximum(square, 0.0))
    rising = (rate + root) / np.maximum(-bend, 1e-300)
    falling = 2 * gap / np.maximum(root - rate, 1e-300)
    never = (square < 0) | ((rate > 0) & (bend >= 0))
    when: Array = np.where(never, np.inf, np.where(rate > 0, rising, falling))
    return when, root


def _sides(now: Present, problem: MotionProblem, trial: Trial) -> Sides:
    """Everything one-sided that a trial reckons with."""
    contacts, middle, step = trial.contacts, trial.middle, trial.step
    moving = middle.pose.position, middle.velocity, middle.spin
    start, rate, push = one_sided(*moving, contacts.fields, step.impulse, trial.dt)
    near = np.full(len(contacts), problem.settings.touch)
    if not now.mode.attached:
        return Sides(start, contacts.gap, rate, push, near)
    limits = limits_in(trial.joints.rows)
    return Sides(
        np.concatenate([start, limit_gaps(now)]),
        np.concatenate([contacts.gap, limits.error]),
        np.concatenate([rate, limits.jacobian @ stacked_velocity(middle)]),
        np.concatenate([push, step.pull]),
        np.concatenate([near, np.full(len(limits), NEAR)]),
    )


def _without(now: Present, problem: MotionProblem, trial: Trial, left_out: BoolArray) -> Trial:
    """The same step without some of its one-sided contacts."""
    count = len(trial.contacts)
    others, chosen = trial.contacts.only(~left_out[:count]), ~left_out[count:]
    load = trial.force, trial.torque
    found = _solved(now, problem, trial.dt, trial.middle, load, others, chosen)
    if not now.mode.attached:
        return found
    pull = np.zeros(len(chosen))
    pull[chosen] = found.step.pull
    return replace(found, step=replace(found.step, pull=pull))


# -- the step taken ------------------------------------------------------------------------------


def _accepted(
    now: Present,
    problem: MotionProblem,
    books: Books,
    trial: Trial,
    lengths: tuple[float, float],
) -> Present:
    """Move to the end of the step, push out what sank in, book works and loads.

    `lengths` [s] are what the change of the load, and sinking, allow the next step.
    """
    step, contacts, dt, before = trial.step, trial.contacts, trial.dt, now.state
    mode, taut = now.mode, _pulling(now, trial)
    books.time = now.time + dt
    books.steps += 1
    books.misfit = max(books.misfit, step.residual)
    for what in _unsolved(problem, trial):
        books.take_unsolved(what)
    sunk = drift(trial.middle.pose, step.velocity, step.spin, dt / 2)
    allowed = 0.5 * problem.settings.touch
    pose, near = pushed_out(problem, books.time, sunk, mode, taut, allowed)
    state = State(pose, step.velocity, step.spin)
    owes = _owes(now, problem, trial, sunk, state)
    state = settled(now, problem, books, state, contacts.pair, owes)
    work = step.applied_work - dt * float(
        (problem.weight * (0.5 * (before.velocity + step.velocity))).sum()
    )
    stirred = _brake_booked(problem, books, trial)
    if trial.braked is not None:
        work -= dt * float(trial.braked.wrench.ravel() @ trial.braked.moved)
    books.tally = replace(
        books.tally,
        work=books.tally.work + work,
        friction_loss=books.tally.friction_loss - step.friction_work,
        contact_work=books.tally.contact_work + step.normal_work,
    )
    _note_loads(now, books, trial)
    still = now.past.still + 1 if _rests(now, problem, trial, state) else 0
    since = 0.5 * dt * state.velocity, 0.5 * dt * state.spin
    push, hopped = pushes(step.impulse, contacts.normal) > 0, _hopped(now, trial)
    kinds = push & ~hopped, push & hopped
    pressed = Pressed(trial.force, trial.torque, contacts, step.status, *kinds, since, taut)
    past = Past(pressed, now.past.flight_length, *lengths, still, now.past.change, now.past.blocked)
    if stirred is not None and problem.brake is not None:
        slows = _slowing(problem, problem.brake, trial.middle.pose)
        past = replace(past, stirred=stirred, slowing=slows)
    state = _on_joints(now, problem, books, trial, state, taut)
    after = present(problem, books.time, state, mode, past, near)
    for number in sorted(mode.attached):
        force, torque = trial.joints.force[number], trial.joints.torque[number]
        for passed, size, limit in limits_of(problem.joints[number], force, torque):
            if size > limit and number in after.mode.attached:
                after = part(after, problem, books, number, passed)
    return after


def _brake_booked(problem: MotionProblem, books: Books, trial: Trial) -> Array | None:
    """Book what a brake did in a step; return its amplitudes (k,) after it."""
    if trial.braked is None:
        return None
    even, moved = trial.braked.even, trial.braked.moved
    after = even.after(moved)
    stirred = Stirred(after, trial.braked.wrench, 0.5 * float(after @ after))
    books.stir(stirred, even.heat(moved))
    return after


def _pulling(now: Present, trial: Trial) -> frozenset[tuple[int, int]]:
    """The one-sided rows of joints that were closed at the start of a step and pull in it."""
    if not now.mode.attached:
        return frozenset()
    limits = limits_in(trial.joints.rows)
    closed = (limit_gaps(now) <= NEAR) & (trial.step.pull > 0)
    labels = zip(limits.joint[closed].tolist(), limits.row[closed].tolist(), strict=True)
    return frozenset(labels)


def _on_joints(
    now: Present,
    problem: MotionProblem,
    books: Books,
    trial: Trial,
    state: State,
    taut: frozenset[tuple[int, int]],
) -> State:
    """The state brought back onto the joints, with what that took and what joints did booked."""
    if not now.mode.attached:
        return state
    mode, bodies = replace(now.mode, closed=taut), problem.bodies
    after = on_joints_velocity(problem.linkage, bodies, state, books.time, mode)
    energy = [float(np.sum(bodies.kinetic_energies(s))) for s in (state, after)]
    books.tally = replace(
        books.tally,
        contact_work=books.tally.contact_work + energy[1] - energy[0],
        friction_loss=books.tally.friction_loss - trial.joints.rubbing_work,
        hold_work=books.tally.hold_work + trial.joints.drive_work,
    )
    return after


def _note_loads(now: Present, books: Books, trial: Trial) -> None:
    """Note what the field, contacts and joints did to bodies and joints in a step."""
    force, torque, contacts = trial.force.copy(), trial.torque.copy(), trial.contacts
    if trial.braked is not None:
        force, torque = force + trial.braked.wrench[:, :3], torque + trial.braked.wrench[:, 3:]
    push, place = (trial.step.impulse, trial.dt), trial.middle.pose.position
    add_pressing_loads(contacts.pair, contacts.point, *push, place, force, torque)
    for number in now.mode.attached:
        books.bear_joint(number, trial.joints.force[number], trial.joints.torque[number])
    if now.mode.attached:
        wrench = trial.joints.wrench
        force, torque = force + wrench[:, :3], torque + wrench[:, 3:]
    books.bear(force, torque)


def _rests(now: Present, problem: MotionProblem, trial: Trial, after: State) -> bool:
    """Whether every free body is held and hardly moves, for good."""
    bodies = problem.bodies
    fastest = np.maximum(bodies.rim_speeds(now.state), bodies.rim_speeds(after))
    if ((fastest >= problem.settings.rest) & bodies.free).any():
        return False
    if np.isfinite(next_stop(problem, now.time, now.mode)):
        return False
    push = pushes(trial.step.impulse, trial.contacts.normal)
    held = pressed_bodies(trial.contacts.pair, push, len(bodies.mass)) | tied(problem, now.mode)
    return bool((held | ~bodies.free).all())


def _owes(now: Present, problem: MotionProblem, trial: Trial, sunk: Pose, state: State) -> Array:
    """What pushing out and the step's quadrature gave each body's motion or took (2, n) [J], as
    `owed` says it."""
    bodies, last, half = problem.bodies, now.past.pressed, 0.5 * trial.dt
    ahead = half * now.state.velocity, half * now.state.spin
    still = np.zeros(ahead[0].shape)
    since = (still, still) if last is None else last.since
    loads = (trial.force, trial.torque), (now.force, now.torque)
    owes = owed(bodies, ahead, since, *loads, problem.weight, sunk, state.pose)
    if trial.step.normal_work < -EVEN_ENOUGH * float(bodies.kinetic_energies(state).max()):
        owes[0] += _held_back(now, problem, trial)
    return owes


def _held_back(now: Present, problem: MotionProblem, trial: Trial) -> Array:
    """Work (n,) [J], negative, of contacts that pressed in the last step too.

    Along a bent surface the step ends with a speed a little into it, of second order in the step,
    and the body sinks by that; the push takes what the load does on the way, and lifting the body
    out would take it once more. It is no blow: the motion has it back.
    """
    contacts, free = trial.contacts, problem.bodies.free
    work, lasts = np.zeros(len(free)), lasting(now, contacts)
    if not lasts.any():
        return work
    rates = separation_rate(trial.middle.pose, trial.middle.velocity, trial.middle.spin, contacts)
    rates += separation_rate(trial.middle.pose, trial.step.velocity, trial.step.spin, contacts)
    done = 0.5 * pushes(trial.step.impulse, contacts.normal) * np.where(lasts, rates, 0.0)
    first, second = contacts.pair.T
    np.add.at(work, np.where(free[first], first, second), np.minimum(done, 0.0))
    return work
