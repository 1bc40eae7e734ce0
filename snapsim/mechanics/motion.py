"""The motion of rigid bodies from release to rest: flight, blows and sustained contact in turn.

What stays the same is a `MotionProblem`. The present moment (`present`) is reckoned once: the
state, what is near and how fast it closes, the loads, the joints' rows and mode. A phase takes it
and gives the next: flight (`phases.fly`) goes on to the next contact, a blow (`phases.strike`)
changes velocities at a fixed pose, a press (`phases.press`) is one step of contacts that last. What
was done, borne and lost on the way is written to the `books`. Applied forces come in as a function
of the pose; nothing here knows what they are.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import replace
from enum import Enum
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.books import Books
from snapsim.mechanics.ending import Ending, EndReason, Unsolved, ended
from snapsim.mechanics.ends import ending_at
from snapsim.mechanics.joint_modes import joints_parted, mode_chosen, on_joints_at_first
from snapsim.mechanics.linkage import EQUALITY
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.phases.fly import fly
from snapsim.mechanics.phases.press import HOP, lasting, press, returning
from snapsim.mechanics.phases.strike import land, snap, snaps, strike
from snapsim.mechanics.present import Past, Present, present, under_other_loads
from snapsim.mechanics.records import End, Frame, LoadChange, Strike

Item = Frame | Strike | LoadChange | End

Phase = Enum("Phase", ["FLIGHT", "BLOW", "LANDING", "PRESS"])
"""Ways on from a moment."""

WATCHED: Final = 500
"""Turns of the loop in which a motion must gain time: a heap's worst cascade of blows at one moment
takes some tens."""

LEAST_GAIN: Final = 1e-9
"""Time [s] that it must gain in them."""


class Motion:
    """One motion; iterate `run()` to its end. Not shared between threads."""

    def __init__(self, problem: MotionProblem) -> None:
        self.problem = problem
        self.books = Books(len(problem.bodies.mass), len(problem.joints))
        self._reached: Present | None = None

    def run(self) -> Iterator[Item]:
        """Yield frames, strikes and changes of the loads in order of time, then one End; after
        `goes_on`, once more."""
        problem, books = self.problem, self.books
        if self._reached is None:
            state, mode = on_joints_at_first(problem)
            yield books.frame(state, touching=False)
            now = present(problem, 0.0, state, mode, _at_first(problem))
        else:
            now = self._reached
        ending, phase, turns, since = None, Phase.FLIGHT, 0, -np.inf
        while ending is None:
            if turns % WATCHED == 0:
                if books.time - since < LEAST_GAIN:
                    ending = ended(EndReason.NO_PROGRESS, WATCHED)
                    break
                since = books.time
            turns += 1
            while problem.later is not None and problem.until <= now.time + 1e-12:
                problem = problem.later
                yield LoadChange(books.frame(now.state, touching=phase is Phase.PRESS))
                now = under_other_loads(now, problem)
            now = yield from _joints_ready(now, problem, books)
            phase = phase_of(now, problem)
            if phase is Phase.BLOW:
                report, now = strike(now, problem, books)
                yield report
            elif phase is Phase.LANDING:
                now = yield from land(now, problem, books)
            elif phase is Phase.PRESS:
                now = yield from press(now, problem, books)
            else:
                now = yield from fly(now, problem, books)
            _look_at_joints(now, problem, books)
            ending = _ending(now, problem, books)
        self._reached = now
        yield books.frame(now.state, touching=phase is Phase.PRESS)
        yield self._end(ending)

    def goes_on(self, problem: MotionProblem, time: float) -> None:
        """Let `run` go on at a `time` [s] with another problem of the same bodies and joints: other
        loads, a later end. For a hand that is moved while it runs; where all came to rest, the time
        may be later than that."""
        assert self._reached is not None
        now, self.problem, self.books.time = self._reached, problem, time
        past = replace(now.past, pressed=None, still=0)
        self._reached = present(problem, time, now.state, now.mode, past)

    def bearing(self) -> Array:
        """Return what each body, then each joint, bears now (n + j, 2) [N, N m]; blows left out."""
        return self.books.bearing()

    def broken_off(self, reason: EndReason) -> End:
        """Return the end of a motion that is not followed further, with what was borne so far."""
        return self._end(ended(reason))

    def _end(self, ending: Ending) -> End:
        books = self.books
        joints = tuple(books.joints)
        known = books.borne, books.steps, joints, books.misfit, dict(books.unsolved)
        return End(books.time, ending, *known)


def phase_of(now: Present, problem: MotionProblem) -> Phase:
    """Return how a motion goes on: by how fast what is near closes."""
    if not len(now.near):
        return Phase.FLIGHT
    rate, slow, landing = now.rates.min(), now.slow(problem), problem.settings.landing
    if rate < -slow:
        return Phase.BLOW
    # what pressed in the last step closes along a bent surface by the step's error: that is no blow
    if rate < -landing and ((now.rates < -landing) & ~lasting(now, now.near)).any():
        return Phase.LANDING
    if rate < -HOP and ((now.rates < -HOP) & returning(now, now.near)).any():
        return Phase.LANDING
    return Phase.PRESS if rate <= slow else Phase.FLIGHT


def _at_first(problem: MotionProblem) -> Past:
    """The past of a motion that begins: nothing is stirred up."""
    return Past(stirred=None if problem.brake is None else np.zeros(len(problem.brake.time)))


def _joints_ready(
    now: Present, problem: MotionProblem, books: Books
) -> Generator[Frame | Strike, None, Present]:
    """Let joints part that must, take the blows of rows that closed, choose the joints' mode."""
    if not now.mode.attached:
        return now
    now = joints_parted(now, problem, books)
    if snaps(now, problem) and phase_of(now, problem) is Phase.BLOW:
        report, now = strike(now, problem, books)  # of the contacts as well: it is told as a blow
        yield report
    elif snaps(now, problem):
        yield books.frame(now.state, touching=True)
        now = snap(now, problem, books)
        yield books.frame(now.state, touching=True)
    return mode_chosen(now, problem)


def _look_at_joints(now: Present, problem: MotionProblem, books: Books) -> None:
    """Note where bodies have strayed from their joints, at a flight's end too."""
    strayed = np.abs(now.rows.error[now.rows.kind == EQUALITY])
    if strayed.max(initial=0.0) > problem.settings.overlap:
        books.take_unsolved(Unsolved.JOINT)


def _ending(now: Present, problem: MotionProblem, books: Books) -> Ending | None:
    if now.past.blocked:
        return ended(EndReason.JOINT_BLOCKED)
    return ending_at(problem, books, now.state, now.past.still)
