"""The phase of a blow: velocities change at the present pose, by the laws of `impact`.

Contacts that close too slowly to rebound land: a step of sustained contact too short for anything
else. Strings that become taut and stops that are reached have blows of their own.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.books import Books
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.ending import Parting
from snapsim.mechanics.impact import Blow, resolve_impact
from snapsim.mechanics.joint_modes import CREEP, blow_rows, near_limits, without_joint
from snapsim.mechanics.lasting_contacts import pushes
from snapsim.mechanics.linkage import EQUALITY, stacked_velocity
from snapsim.mechanics.mobility import lines, mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.position_correction import clusters
from snapsim.mechanics.present import Present, moved_on
from snapsim.mechanics.records import PairBlow, Strike
from snapsim.mechanics.spanned_area import spanned_area
from snapsim.mechanics.sustained_contact import JointTerms, StepTerms, contact_step
from snapsim.parts.states import State

LANDING_TIME: Final = 1e-12
"""Length given to a blow without rebound [s]: too short for a free spin to turn anything."""


def strike(now: Present, problem: MotionProblem, books: Books) -> tuple[Strike, Present]:
    """Resolve the blow of all that is near; return the report and the moment after."""
    before = books.tally
    after, blow = _struck(now, problem, books, now.near, now.rates)
    blows = _blows(after, problem, now, blow)
    return Strike(now.time, now.state, after.state, before, books.tally, blows), after


def snaps(now: Present, problem: MotionProblem) -> bool:
    """Return whether a string becomes taut, or a stop is reached, with some speed."""
    closing = near_limits(now.rows).jacobian @ stacked_velocity(now.state)
    return bool(np.any(closing < -CREEP))


def snap(now: Present, problem: MotionProblem, books: Books) -> Present:
    """Return the moment after the blow of strings that became taut and of stops reached."""
    close = now.near.gap < problem.settings.touch
    return _struck(now, problem, books, now.near.only(close), now.rates[close])[0]


def land(now: Present, problem: MotionProblem, books: Books) -> Present:
    """Stop contacts that close too slowly to rebound, and what closes with them."""
    near, rows, pose = now.near, now.rows, now.state.pose
    joints, limits = rows.only(rows.kind == EQUALITY), near_limits(rows)
    still, none = np.zeros(now.state.velocity.shape), np.zeros(len(near))
    no_rubbing = np.zeros((0, 3)), np.zeros((0, 3))
    step = contact_step(
        mobility(problem.bodies, pose.quaternion, joints),
        now.state,
        (still, still),
        LANDING_TIME,
        near,
        StepTerms(none, problem.friction(near), none),
        JointTerms(
            lines(problem.linkage, limits),
            np.zeros(len(limits)),
            joints.rate,
            np.zeros(len(joints)),
            no_rubbing,
        ),
    )
    driven = float(step.held @ step.slip)
    return _after_blow(now, problem, books, State(pose, step.velocity, step.spin), driven)


def _struck(
    now: Present, problem: MotionProblem, books: Books, contacts: ContactSet, rates: Array
) -> tuple[Present, Blow]:
    """The moment after a blow of `contacts` and of what one-sided rows are closed, and the blow."""
    state, slow = now.state, now.slow(problem)
    limits, firm = near_limits(now.rows), blow_rows(problem, now.rows)
    bounce = np.array([problem.joints[j].restitution for j in limits.joint], dtype=np.float64)
    bounce[-(limits.jacobian @ stacked_velocity(state)) * bounce < slow] = 0.0
    blow = resolve_impact(
        mobility(problem.bodies, state.pose.quaternion, firm),
        state,
        contacts,
        _restitution(problem, contacts, rates, slow),
        problem.friction(contacts),
        lines(problem.linkage, limits),
        bounce,
        fineness=problem.settings.blow_step,
        springs=problem.springs(contacts),
        quiet=slow,
    )
    after, driven = State(state.pose, blow.velocity, blow.spin), 0.0
    if np.any(firm.rate != 0.0):  # else rounding only
        energy = [float(problem.bodies.kinetic_energies(s).sum()) for s in (state, after)]
        driven = energy[1] - energy[0] + blow.lost
    return _after_blow(now, problem, books, after, driven), blow


def _after_blow(
    now: Present, problem: MotionProblem, books: Books, after: State, driven: float
) -> Present:
    """Take the state after a blow, book the energy it cost, let go holds that lost their part."""
    energy = [float(problem.bodies.kinetic_energies(s).sum()) for s in (now.state, after)]
    books.blow(energy[0], driven, energy[1])
    past = replace(now.past, still=0, flight_length=None, struck=True)
    found, mode = moved_on(problem, now, state=after, past=past), now.mode
    rows = found.rows
    slip = np.abs(rows.jacobian @ stacked_velocity(after) - rows.rate)
    lost = (rows.kind == EQUALITY) & (slip > problem.settings.slow)
    for number in sorted(set(rows.joint[lost].tolist())):
        books.part_joint(number, Parting.TORN_AWAY)
        mode = without_joint(mode, number)
    return moved_on(problem, found, mode=mode)


def _restitution(problem: MotionProblem, contacts: ContactSet, rate: Array, slow: float) -> Array:
    """Of each contact (c,): that of its closing speed.

    A contact that does not close yet, or slowly, has that of the fastest blow among those it
    touches, through free bodies: it may be struck through them. Where nothing rebounds faster than
    `slow` [m/s] all are zero.
    """
    free, ends = problem.bodies.free, contacts.pair
    pairs = [problem.surfaces.pair(int(a), int(b)) for a, b in ends]
    label = clusters(ends, free)
    island = label[np.where(free[ends[:, 0]], ends[:, 0], ends[:, 1])]
    found = [p.restitution_at(-r) for p, r in zip(pairs, rate.tolist(), strict=True)]
    bounce = np.array(found, dtype=np.float64)
    rebound = -rate * bounce
    for own in set(island[rebound >= slow].tolist()):
        mine = island == own
        fastest = float(-rate[mine].min())
        for k in np.flatnonzero(mine & (rebound < slow)):
            bounce[k] = pairs[k].restitution_at(fastest)
        rebound[mine] = np.inf
    bounce[rebound < slow] = 0.0
    return bounce


def _blows(
    after: Present, problem: MotionProblem, now: Present, blow: Blow
) -> tuple[PairBlow, ...]:
    """Gather contact points into one blow a pair, at the point where its impulse acts.

    Pairs that closed come first, then those that the blow went through. Where neither the closing
    speed nor the work that compressed a pair, as a speed, reaches what rebounds, it was only
    pressed together.
    """
    contacts, slow = now.near, now.slow(problem)
    every, found = pushes(blow.impulse[: len(contacts)], contacts.normal), []
    for a, b in sorted(set(map(tuple, contacts.pair.tolist()))):
        mine = np.flatnonzero((contacts.pair[:, 0] == a) & (contacts.pair[:, 1] == b))
        if every[mine].sum() <= 0:
            continue
        one = _pair_blow(after, problem, now, blow, mine)
        if one.struck_through and one.stored < 0.5 * one.effective_mass * slow**2:
            continue
        found.append(one)
    return tuple(sorted(found, key=lambda one: one.struck_through))


def _pair_blow(
    after: Present, problem: MotionProblem, now: Present, blow: Blow, mine: IntArray
) -> PairBlow:
    """The blow of one pair, at its contacts `mine`."""
    contacts, rate = now.near, now.rates[mine]
    push = pushes(blow.impulse[mine], contacts.normal[mine])
    pair, share = contacts.pair[mine[0]], push / push.sum()
    point = share @ contacts.point[mine]
    normal = share @ contacts.normal[mine]
    normal = normal / np.linalg.norm(normal)
    return PairBlow(
        pair,
        point,
        normal,
        float(-share @ rate),
        _effective_mass(after, problem, pair, point, normal),
        blow.impulse[mine].sum(axis=0),
        spanned_area(contacts.point[mine[rate < 0]], normal),
        float(blow.stored_work[mine].sum()),
        bool(-rate.min() < now.slow(problem)),
    )


def _effective_mass(
    now: Present, problem: MotionProblem, pair: IntArray, point: Array, normal: Array
) -> float:
    """1/(n W' n) of two bodies (2,) at `point` (3,) along `normal` (3,) [kg]."""
    contact = ContactSet(pair[None], point[None], normal[None], np.zeros(1))
    pose, firm = now.state.pose, blow_rows(problem, now.rows)
    body = mobility(problem.bodies, pose.quaternion, firm)
    return float(1 / max(body.yielding(pose.position, contact)[0, 0], 1e-300))
