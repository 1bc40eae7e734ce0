"""The phase of a blow: velocities change at the present pose, by the laws of `impact`.

Contacts that close too slowly to rebound land: a step of sustained contact too short for anything
else. Strings that become taut and stops that are reached have blows of their own. So has a slide
that jams: where friction presses the bodies together more than the push it comes from parts them,
no finite force keeps them from closing (Painleve), and the slide ends in an impact without
collision: the laws of a blow from a closing speed of nil (Stronge, Impact Mechanics, 2nd ed. 2018;
Genot & Brogliato, Eur. J. Mech. A 18, 653 (1999); from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.books import Books
from snapsim.mechanics.contact import ContactSet, separation_rate
from snapsim.mechanics.ending import Parting, Unsolved
from snapsim.mechanics.impact import Blow, resolve_impact
from snapsim.mechanics.joint_modes import CREEP, blow_rows, near_limits, without_joint
from snapsim.mechanics.lasting_contacts import pushes
from snapsim.mechanics.linkage import EQUALITY, stacked_velocity
from snapsim.mechanics.mobility import lines, mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.position_correction import clusters
from snapsim.mechanics.present import Present, moved_on
from snapsim.mechanics.records import PairBlow, Strike, Tally
from snapsim.mechanics.spanned_area import spanned_area
from snapsim.mechanics.sustained_contact import ContactStep, JointTerms, StepTerms, contact_step
from snapsim.mechanics.unit_sweeps import FEW
from snapsim.numerics.rotations import crossed, rotate_back
from snapsim.parts.states import State

LANDING_TIME: Final = 1e-12
"""Length given to a blow without rebound [s]: too short for a free spin to turn anything."""


GENTLE: Final = 4.0
"""Closing speed over that below which no rebound is followed, up to which many contacts that do not
rebound are stopped at once."""

COARSER: Final = 4.0
"""Length of a blow's steps, over the usual one, where those came to no end."""

JAMS: Final = 4.0
"""Speed that would compress a pair as much in a straight blow, over that at which it closes: beyond
this the slide jams. Sticking where it strikes makes it 1.25 for a rod, a little more for a
corner."""


@dataclass(frozen=True)
class Shock:
    """What a blow of contacts did: with `closing` (c,) speeds [m/s], `jammed` where these are what
    friction made of a slide."""

    blow: Blow
    closing: Array
    jammed: bool = False


def strike(now: Present, problem: MotionProblem, books: Books) -> tuple[Strike, Present]:
    """Resolve the blow of all that is near; return the report and the moment after."""
    before, near = books.tally, now.near
    bounce = _restitution(now, problem, near, now.rates)
    gentle = not bounce.any() and now.rates.min() > -GENTLE * problem.settings.slow
    if gentle and len(near) > FEW:
        blow = _stopping_blow(now, problem)
    else:
        blow = _blow(now, problem, near, bounce)
    if not bounce.any() and _one_jams(now, problem, blow):
        jammed = jam(now, problem, books)
        if jammed is not None:
            return jammed
    after = _taken(now, problem, books, blow)
    blows = _blows(after, problem, now, Shock(blow, -now.rates))
    return _reported(now, after, before, books, blows), after


def jam(now: Present, problem: MotionProblem, books: Books) -> tuple[Strike, Present] | None:
    """Resolve the impact without collision of slides that jam; None where none does.

    The restitution is that of the speed that would compress a contact as much by itself, so what
    is stored is found first, in a blow without rebound.
    """
    near, slow, slip = now.near, now.slow(problem), float(_slips(now).max(initial=0.0))
    if slip < slow:
        return None
    plastic = _blow(now, problem, near, np.zeros(len(near)), slip)
    closing = _compressing(now, plastic)
    if closing.max() < max(slow, -JAMS * now.rates.min()):
        return None
    bounce = _restitution(now, problem, near, -closing)
    blow = _blow(now, problem, near, bounce, slip) if bounce.any() else plastic
    before = books.tally
    after = _taken(now, problem, books, blow)
    blows = _blows(after, problem, now, Shock(blow, closing, jammed=True))
    return _reported(now, after, before, books, blows), after


def _reported(
    now: Present, after: Present, before: Tally, books: Books, blows: tuple[PairBlow, ...]
) -> Strike:
    return Strike(now.time, now.state, after.state, before, books.tally, blows, books.stirred)


def _one_jams(now: Present, problem: MotionProblem, blow: Blow) -> bool:
    """Whether friction compresses a pair that meets alone in a slow blow, which then rebounds by
    more than it came with."""
    jams = _compressing(now, blow).max() > -JAMS * now.rates.min()
    return bool(jams) and _alone(problem, now.near, np.arange(len(now.near)))


def _compressing(now: Present, blow: Blow) -> Array:
    """Speeds (c,) [m/s] that would compress the contacts as much in straight blows."""
    count = len(now.near)
    stored = np.maximum(blow.stored_work[:count], 0.0)
    speeds: Array = np.sqrt(2 * stored / blow.effective_mass[:count])
    return speeds


def _slips(now: Present) -> Array:
    """Speeds (c,) [m/s] at which contacts slide."""
    near, state = now.near, now.state
    over = [
        state.velocity[ends] + crossed(state.spin[ends], near.point - state.pose.position[ends])
        for ends in near.pair.T
    ]
    between = over[0] - over[1]
    along = between - (between * near.normal).sum(axis=1)[:, None] * near.normal
    slips: Array = np.linalg.norm(along, axis=1)
    return slips


def snaps(now: Present, problem: MotionProblem) -> bool:
    """Return whether a string becomes taut, or a stop is reached, with some speed."""
    closing = near_limits(now.rows).jacobian @ stacked_velocity(now.state)
    return bool(np.any(closing < -CREEP))


def snap(now: Present, problem: MotionProblem, books: Books) -> Present:
    """Return the moment after the blow of strings that became taut and of stops reached."""
    close = now.near.gap < problem.settings.touch
    near = now.near.only(close)
    bounce = _restitution(now, problem, near, now.rates[close])
    return _taken(now, problem, books, _blow(now, problem, near, bounce))


def land(now: Present, problem: MotionProblem, books: Books) -> Generator[Strike, None, Present]:
    """Stop contacts that close too slowly to rebound, and what closes with them; where a slide jams
    by that it is a blow."""
    step, pose = _stopped(now, problem), now.state.pose
    leaps = step.leap > max(now.slow(problem), -JAMS * now.rates.min())
    jammed = jam(now, problem, books) if leaps else None
    if jammed is not None:
        yield jammed[0]
        return jammed[1]
    driven = float(step.held @ step.slip)
    return _after_blow(now, problem, books, State(pose, step.velocity, step.spin), driven)


def _stopped(now: Present, problem: MotionProblem) -> ContactStep:
    """A step in which all that closes is stopped, too short for anything else."""
    near, rows, pose = now.near, now.rows, now.state.pose
    joints, limits = rows.only(rows.kind == EQUALITY), near_limits(rows)
    still, none = np.zeros(now.state.velocity.shape), np.zeros(len(near))
    no_rubbing = np.zeros((0, 3)), np.zeros((0, 3))
    return contact_step(
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


def _stopping_blow(now: Present, problem: MotionProblem) -> Blow:
    """The same as a blow, of contacts that work on the bodies by their mean velocities."""
    step, near, mass = _stopped(now, problem), now.near, problem.bodies
    after = State(now.state.pose, step.velocity, step.spin)
    rates = separation_rate(after.pose, after.velocity, after.spin, near)
    work = 0.5 * pushes(step.impulse, near.normal) * (now.rates + rates)
    yields = mobility(mass, after.pose.quaternion).yielding(after.pose.position, near)[:, 0]
    pull = np.zeros((len(step.pull), 3))
    pull[:, 0] = step.pull
    return Blow(
        step.velocity,
        step.spin,
        np.concatenate([step.impulse, pull]),
        work,
        np.zeros(len(near)),
        np.maximum(-work, 0.0),
        1.0 / np.maximum(yields, 1e-300),
        -now.rates,
        -(step.normal_work + step.friction_work),
        0,
    )


def _blow(
    now: Present,
    problem: MotionProblem,
    contacts: ContactSet,
    restitution: Array,
    slip: float = 0.0,
) -> Blow:
    """The blow of `contacts` and of what one-sided rows are closed; `slip` as `resolve_impact`.

    One whose steps come to no end, as where many contacts stick, is followed again in longer ones.
    """
    state, slow = now.state, now.slow(problem)
    limits, firm = near_limits(now.rows), blow_rows(problem, now.rows)
    bounce = np.array([problem.joints[j].restitution for j in limits.joint], dtype=np.float64)
    bounce[-(limits.jacobian @ stacked_velocity(state)) * bounce < slow] = 0.0
    given = (
        mobility(problem.bodies, state.pose.quaternion, firm),
        state,
        contacts,
        restitution,
        problem.friction(contacts),
        lines(problem.linkage, limits),
        bounce,
    )
    step, springs = problem.settings.blow_step, problem.springs(contacts)
    found = resolve_impact(*given, fineness=step, springs=springs, quiet=slow, slip=slip)
    if found.whole:
        return found
    return resolve_impact(*given, fineness=COARSER * step, springs=springs, quiet=slow, slip=slip)


def _taken(now: Present, problem: MotionProblem, books: Books, blow: Blow) -> Present:
    """The moment after a blow, booked."""
    if not blow.whole:
        books.take_unsolved(Unsolved.BLOW)
    state, firm = now.state, blow_rows(problem, now.rows)
    after, driven = State(state.pose, blow.velocity, blow.spin), 0.0
    if np.any(firm.rate != 0.0):  # else rounding only
        energy = [float(problem.bodies.kinetic_energies(s).sum()) for s in (state, after)]
        driven = energy[1] - energy[0] + blow.lost
    return _after_blow(now, problem, books, after, driven)


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


def _restitution(now: Present, problem: MotionProblem, contacts: ContactSet, rate: Array) -> Array:
    """Of each contact (c,): that of its closing speed.

    A contact that does not close yet, or slowly, has that of the fastest blow among those it
    touches, through free bodies: it may be struck through them. Where nothing rebounds faster than
    is followed all are zero.
    """
    slow, free, ends = now.slow(problem), problem.bodies.free, contacts.pair
    at = _restitution_at(now, problem, contacts)
    label = clusters(ends, free)
    island = label[np.where(free[ends[:, 0]], ends[:, 0], ends[:, 1])]
    found = [at(k, -r) for k, r in enumerate(rate.tolist())]
    bounce = np.array(found, dtype=np.float64)
    rebound = -rate * bounce
    for own in set(island[rebound >= slow].tolist()):
        mine = island == own
        fastest = float(-rate[mine].min())
        for k in np.flatnonzero(mine & (rebound < slow)):
            bounce[k] = at(int(k), fastest)
        rebound[mine] = np.inf
    bounce[rebound < slow] = 0.0
    return bounce


def _restitution_at(
    now: Present, problem: MotionProblem, contacts: ContactSet
) -> Callable[[int, float], float]:
    """The restitution of a contact, by its number, at a closing speed [m/s]."""
    pairs = [problem.surfaces.pair(int(a), int(b)) for a, b in contacts.pair]
    law = problem.rebounds
    if law is None or not any(p.of_materials for p in pairs):
        return lambda k, speed: pairs[k].restitution_at(speed)
    pose, firm = now.state.pose, blow_rows(problem, now.rows)
    yields = mobility(problem.bodies, pose.quaternion, firm).yielding(pose.position, contacts)[:, 0]

    def at(k: int, speed: float) -> float:
        a, b = contacts.pair[k].tolist()
        if not pairs[k].of_materials or speed <= 0.0:
            return pairs[k].restitution_at(speed)
        outward = (
            rotate_back(pose.quaternion[a], -contacts.normal[k]),
            rotate_back(pose.quaternion[b], contacts.normal[k]),
        )
        return law.of(a, b, 1.0 / max(float(yields[k]), 1e-300), speed, outward)

    return at


def _blows(
    after: Present, problem: MotionProblem, now: Present, shock: Shock
) -> tuple[PairBlow, ...]:
    """Gather contact points into one blow a pair, at the point where its impulse acts.

    Pairs that closed come first, then those that the blow went through. Where neither the closing
    speed nor the work that compressed a pair, as a speed, reaches what rebounds, it was only
    pressed together.
    """
    contacts, slow = now.near, now.slow(problem)
    impulse = shock.blow.impulse[: len(contacts)]
    every, found = pushes(impulse, contacts.normal), []
    for a, b in sorted(set(map(tuple, contacts.pair.tolist()))):
        mine = np.flatnonzero((contacts.pair[:, 0] == a) & (contacts.pair[:, 1] == b))
        if every[mine].sum() <= 0:
            continue
        one = _pair_blow(after, problem, now, shock, mine)
        if (one.struck_through or one.jammed) and one.stored < 0.5 * one.effective_mass * slow**2:
            continue
        found.append(one)
    return tuple(sorted(found, key=lambda one: one.struck_through))


def _pair_blow(
    after: Present, problem: MotionProblem, now: Present, shock: Shock, mine: IntArray
) -> PairBlow:
    """The blow of one pair, at its contacts `mine`."""
    contacts, closing, blow = now.near, shock.closing[mine], shock.blow
    push = pushes(blow.impulse[mine], contacts.normal[mine])
    pair, share = contacts.pair[mine[0]], push / push.sum()
    point = share @ contacts.point[mine]
    normal = share @ contacts.normal[mine]
    normal = normal / np.linalg.norm(normal)
    mass, speed = _effective_mass(after, problem, pair, point, normal), float(share @ closing)
    stored = float(blow.stored_work[mine].sum())
    straight = float(np.sqrt(2 * stored / mass))
    jammed = shock.jammed or (straight > JAMS * speed and _alone(problem, contacts, mine))
    return PairBlow(
        pair,
        point,
        normal,
        straight if jammed else speed,
        mass,
        blow.impulse[mine].sum(axis=0),
        spanned_area(contacts.point[mine[closing > 0]], normal),
        stored,
        bool(closing.max() < now.slow(problem)) and not jammed,
        jammed,
    )


def _alone(problem: MotionProblem, contacts: ContactSet, mine: IntArray) -> bool:
    """Whether the bodies of one pair, at its contacts `mine`, that can move touch nothing else."""
    moving = [b for b in contacts.pair[mine[0]].tolist() if problem.bodies.free[b]]
    return int(np.isin(contacts.pair, moving).any(axis=1).sum()) == len(mine)


def _effective_mass(
    now: Present, problem: MotionProblem, pair: IntArray, point: Array, normal: Array
) -> float:
    """1/(n W' n) of two bodies (2,) at `point` (3,) along `normal` (3,) [kg]."""
    contact = ContactSet(pair[None], point[None], normal[None], np.zeros(1))
    pose, firm = now.state.pose, blow_rows(problem, now.rows)
    body = mobility(problem.bodies, pose.quaternion, firm)
    return float(1 / max(body.yielding(pose.position, contact)[0, 0], 1e-300))
