"""The phase of flight: from the present moment to the next contact, event, or the end of the run.

Flight (`flight`) is integrated with error control; a contact is located on the dense output, and so
is a change of the joints (`joint_changes`).
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.mechanics.books import Books
from snapsim.mechanics.brake import AHEAD, BEHIND, remembered
from snapsim.mechanics.ending import Unsolved
from snapsim.mechanics.ends import ending_at
from snapsim.mechanics.flight import Flight, take_off
from snapsim.mechanics.joint_changes import EIGHTHS, Change, change_by, row_closes
from snapsim.mechanics.joint_modes import next_stop
from snapsim.mechanics.linkage import Reactions, on_joints_pose, on_joints_velocity
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.phases.pushing_out import clear
from snapsim.mechanics.present import Present, present
from snapsim.mechanics.records import Frame, Tally
from snapsim.mechanics.rigid_bodies import drift
from snapsim.parts.states import State

CALM: Final = 1e-4
"""Acceleration of a rim [m/s^2] below which a hanging body that hardly moves counts as at rest."""


@dataclass(frozen=True)
class _Landfall:
    """What a flight's last step met: the `time` [s] at which it ends the flight, None where it does
    not, by a contact or by a `change` of a joint; gaps (p,) [m] at the step's end, and what the
    joints do there."""

    time: float | None
    change: Change | None
    gaps: Array
    reactions: Reactions | None


def fly(now: Present, problem: MotionProblem, books: Books) -> Generator[Frame, None, Present]:
    """Fly until something touches, a joint changes, the run ends or a body leaves the stage."""
    state = clear(now, problem, books)
    slow = _to_remember(now, problem, books)
    booked, still, change = books.tally, 0, None
    stop = next_stop(problem, now.time, now.mode)
    given = problem, now.mode, state, now.time, min(problem.duration, stop)
    flight = take_off(*given, now.past.flight_length, slow)
    gaps, load = problem.geometry.gaps(state.pose), problem.loads(state.pose)
    while flight.running:
        longest, before = _longest_step(problem, state, gaps, load), flight
        further = flight.step(longest)
        books.steps = problem.settings.limit if further is None else books.steps + 1
        if further is None:
            break
        flight = further
        found = _first_event(before, flight, gaps)
        change, time = found.change, flight.time if found.time is None else found.time
        yield from _frames_between(flight, before.time, time, booked, books)
        books.time, books.tally = time, _flown(booked, flight, time)
        books.stirred = flight.stirred(time)
        state, gaps = flight.at(time), found.gaps
        load = problem.loads(state.pose)
        calm = _bears(flight, time, found, load, books)
        still = still + 1 if calm and stop == np.inf else 0
        if found.time is not None or ending_at(problem, books, state, still):
            break
        if slow is not None and _forgets(problem, state, len(slow)):
            break
    length = max(flight.last.end - flight.last.begin, 1e-6)
    past = replace(now.past, pressed=None, flight_length=length, still=still, change=change)
    past = replace(past, stirred=_landed(problem, books), slowing=None)
    return present(problem, books.time, state, now.mode, past, load=load)


def _to_remember(now: Present, problem: MotionProblem, books: Books) -> Array | None:
    """The amplitudes of a brake that a flight remembers; the rest counts as heat."""
    brake, stirred = problem.brake, now.past.stirred
    if brake is None or stirred is None:
        return None
    count = remembered(brake, AHEAD * brake.quickness(now.state))
    quick = stirred[count:]
    books.stir(books.stirred, 0.5 * float(quick @ quick))
    return stirred[:count]


def _forgets(problem: MotionProblem, state: State, count: int) -> bool:
    """Whether a flight with `count` amplitudes in its state should have more, or far fewer."""
    assert problem.brake is not None
    quickness = problem.brake.quickness(state)
    if remembered(problem.brake, quickness) > count:
        return True
    return 2 * remembered(problem.brake, BEHIND * quickness) < count


def _landed(problem: MotionProblem, books: Books) -> Array | None:
    """All amplitudes of a brake at the end of a flight: what quick ones store is heat no more."""
    if problem.brake is None or books.stirred is None:
        return None
    amplitude, stored = books.stirred.amplitude, books.stirred.stored
    whole = 0.5 * float(amplitude @ amplitude)
    books.stir(replace(books.stirred, stored=whole), stored - whole)
    return amplitude


def _flown(booked: Tally, flight: Flight, time: float) -> Tally:
    """The books at a time of a flight that began with `booked`."""
    done = flight.books(time)
    heat = booked.heat + flight.heat(time)
    tally = replace(booked, work=booked.work + float(done[0]), heat=heat)
    if len(done) == 1:
        return tally
    return replace(
        tally,
        friction_loss=booked.friction_loss - float(done[1]),
        hold_work=booked.hold_work + float(done[2]),
    )


def _longest_step(
    problem: MotionProblem, state: State, gaps: Array, load: tuple[Array, Array]
) -> float:
    """Step [s] after which the nearest pair would just touch, at present speeds and forces."""
    longest = problem.settings.flight_step
    if not len(gaps):
        return longest
    acceleration = problem.bodies.largest_acceleration(state, *load) + problem.pull
    probe = 1e-6
    soon = problem.geometry.gaps(drift(state.pose, state.velocity, state.spin, probe))
    rate = (soon - gaps) / probe
    slack = np.maximum(gaps, 0) + np.maximum(1e-5, 0.01 * np.maximum(gaps, 0))
    root = np.sqrt(rate**2 + 2 * acceleration * slack)
    times = 2 * slack / np.maximum(root - rate, 1e-300)
    return float(min(longest, max(times.min(), 1e-7)))


def _first_event(before: Flight, flight: Flight, gaps: Array) -> _Landfall:
    """What the last step met; `before` is the flight without it, `gaps` those at its start."""
    problem, begin, end = flight.equations.problem, before.time, flight.time
    after = problem.geometry.gaps(flight.state.pose)
    touch = None
    if not _passes_clear(before, flight, gaps, after):
        touch = _first_touch(flight, begin, end)
    if not flight.equations.mode.attached:
        return _Landfall(touch, None, after, None)
    until = end if touch is None else touch
    reactions = flight.reactions(until)
    change = change_by(flight, begin, until, reactions)
    if change is not None:
        until = change.time
    closes = row_closes(flight, begin, until)
    if closes is not None:
        return _Landfall(closes, None, after, None)
    if change is not None:
        return _Landfall(change.time, change, after, None)
    return _Landfall(touch, None, after, reactions)


def _passes_clear(before: Flight, flight: Flight, gaps: Array, after: Array) -> bool:
    """Whether nothing can touch in the last step.

    A gap closes no faster than the two bodies' rims move, taken at the step's ends and a quarter
    more; where both ends' gaps together are more than it closes so, it stays open.
    """
    problem = flight.equations.problem
    rim_speeds = problem.bodies.rim_speeds
    rim = np.maximum(rim_speeds(before.state), rim_speeds(flight.state))
    least = np.minimum(gaps, after)
    closing = 1.25 * (flight.time - before.time) * rim[problem.geometry.pairs].sum(axis=1)
    return bool(((gaps + after > closing) & (least > 0)).all())


def _closest(flight: Flight, time: float) -> float:
    gaps = flight.equations.problem.geometry.gaps(flight.at(time).pose)
    return float(gaps.min(initial=np.inf))


def _first_touch(flight: Flight, begin: float, end: float) -> float | None:
    """Time of the first contact in the last step [s], on its open side; None without one."""
    times, geometry = begin + (end - begin) * EIGHTHS, flight.equations.problem.geometry
    clear: float | None = None
    for time, pose in zip(times.tolist(), flight.poses(times), strict=True):
        if not geometry.touches(pose):
            clear = time
        elif time > begin:
            return _touch_between(flight, clear, begin, time)
    return None


def _touch_between(flight: Flight, clear: float | None, begin: float, time: float) -> float:
    """Time of the first contact before `time`, after the `clear` one or soon after `begin`."""
    if clear is None or _closest(flight, clear) <= 0:  # a bound may stand above a zero
        clear = _clear_moment(flight, begin if clear is None else clear, time)
        if clear is None:
            return begin + 0.5 * (time - begin) * 1e-3
    root: float = brentq(lambda t: _closest(flight, t), clear, time, xtol=1e-13)
    back = 1e-11
    while root > clear and _closest(flight, root) <= 0:
        root, back = max(clear, root - back), 4 * back
    return float(root)


def _clear_moment(flight: Flight, begin: float, end: float) -> float | None:
    """A moment shortly after `begin` at which nothing touches, for bodies that just parted."""
    for halvings in range(1, 30):
        time = begin + (end - begin) * 0.5**halvings
        if _closest(flight, time) > 0:
            return time
    return None


def _frames_between(
    flight: Flight, begin: float, end: float, booked: Tally, books: Books
) -> Iterator[Frame]:
    """Frames on the dense output so that none are farther apart than the frame spacing.

    They are brought back onto the joints, which interpolation keeps to some 1e-8 m only.
    """
    problem, mode = flight.equations.problem, flight.equations.mode
    given = problem.linkage, problem.bodies
    while books.last_frame + problem.settings.frame_spacing <= end:
        time = max(books.last_frame + problem.settings.frame_spacing, begin)
        books.last_frame = time
        state = flight.at(time)
        state = replace(state, pose=on_joints_pose(*given, state.pose, time, mode))
        state = on_joints_velocity(*given, state, time, mode)
        stirred = flight.stirred(time)
        yield Frame(time, state, _flown(booked, flight, time), False, stirred)


def _bears(
    flight: Flight, time: float, found: _Landfall, load: tuple[Array, Array], books: Books
) -> bool:
    """Note what bodies and joints bear; return whether everything hangs still."""
    problem, mode, (force, torque) = flight.equations.problem, flight.equations.mode, load
    if books.stirred is not None:
        force, torque = force + books.stirred.force, torque + books.stirred.torque
    if not mode.attached:
        books.bear(force, torque)
        return False
    reactions = found.reactions or flight.reactions(time)
    if not reactions.agreed:
        books.take_unsolved(Unsolved.BEARING)
    for number in mode.attached:
        books.bear_joint(number, reactions.force[number], reactions.torque[number])
    wrench, both = reactions.wrench, reactions.acceleration.reshape(-1, 6)
    books.bear(force + wrench[:, :3], torque + wrench[:, 3:])
    size = np.linalg.norm(both[:, :3], axis=1)
    size = size + problem.bodies.reach * np.linalg.norm(both[:, 3:], axis=1)
    slow = problem.bodies.rim_speeds(flight.at(time)) < problem.settings.rest
    return bool(np.all((slow & (size < CALM)) | ~problem.bodies.free))
