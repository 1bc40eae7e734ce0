"""The mode that joints take at the present moment: which last, which rows are closed, which stick.

The mode is chosen so that accelerations and reactions are complementary. Before that joints part
whose time has come or that bore too much, and hands let go of what they press against something.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.arrays import BoolArray
from snapsim.mechanics.books import Books
from snapsim.mechanics.ending import Parting
from snapsim.mechanics.linkage import (
    EQUALITY,
    FRICTION,
    HELD,
    LIMIT,
    Mode,
    Stack,
    closed_rows,
    on_joints_pose,
    on_joints_velocity,
    stacked_velocity,
    starting_slips,
)
from snapsim.mechanics.mobility import mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import NEARLY
from snapsim.mechanics.present import Present, moved_on
from snapsim.parts.states import State

NEAR: Final = 1e-8
"""Gap of a one-sided row [m, rad] under which it counts as closed."""

CREEP: Final = 1e-6
"""Slip [m/s, rad/s] under which a bearing may stick, and a row counts as neither way."""


def on_joints_at_first(problem: MotionProblem) -> tuple[State, Mode]:
    """Return the start with all bodies on their joints, and how these move."""
    start, linkage, bodies = problem.start, problem.linkage, problem.bodies
    mode = Mode(frozenset(range(len(problem.joints))))
    mode = replace(mode, slip=slips(linkage.rows(start, 0.0, mode.attached), start))
    state = replace(start, pose=on_joints_pose(linkage, bodies, start.pose, 0.0, mode))
    return on_joints_velocity(linkage, bodies, state, 0.0, mode), mode


def slips(rows: Stack, state: State) -> dict[int, float]:
    """Return the sense in which each bearing moves, 0 where it hardly does."""
    rubs = rows.only(rows.kind == FRICTION)
    rate = rubs.jacobian @ stacked_velocity(state)
    sense = np.where(np.abs(rate) > CREEP, np.sign(rate), 0.0)
    return dict(zip(rubs.joint.tolist(), sense.tolist(), strict=True))


def blow_rows(problem: MotionProblem, rows: Stack) -> Stack:
    """Return the rows that take part in a blow: not those of a hand, nor friction."""
    firm = np.array([not problem.joints[j].yields for j in rows.joint], dtype=bool)
    return rows.only((rows.kind == EQUALITY) & firm)


def near_limits(rows: Stack) -> Stack:
    """Return the one-sided rows that are closed or nearly so."""
    return rows.only((rows.kind == LIMIT) & (rows.error < NEARLY * NEAR))


def next_stop(problem: MotionProblem, time: float, mode: Mode) -> float:
    """Return when the law of a joint that lasts, or the loads, change next [s]; infinite where
    nothing does."""
    times = [t for number in mode.attached for t in problem.joints[number].times]
    times.append(problem.until)
    return min((t for t in times if t > time + 1e-12), default=np.inf)


def without_joint(mode: Mode, number: int) -> Mode:
    """Return the mode once a joint has parted."""
    closed = frozenset(key for key in mode.closed if key[0] != number)
    return replace(mode, attached=mode.attached - {number}, closed=closed)


def part(now: Present, problem: MotionProblem, books: Books, number: int, why: Parting) -> Present:
    """Let a joint part."""
    books.part_joint(number, why)
    return moved_on(problem, now, mode=without_joint(now.mode, number))


def joints_parted(now: Present, problem: MotionProblem, books: Books) -> Present:
    """Let joints part that must, and hands let go."""
    change = now.past.change
    if change is not None and change.parts is not None and change.why is not None:
        now = part(now, problem, books, change.parts, change.why)
    for number in sorted(now.mode.attached):
        if problem.joints[number].until <= now.time + 1e-12:
            now = part(now, problem, books, number, Parting.TIME_UP)
    return _gripped(now, problem, books)


def _gripped(now: Present, problem: MotionProblem, books: Books) -> Present:
    """Where a joint drives a part against something, a hand lets go; a clamp ends the run."""
    closing = now.near.gap < problem.settings.touch
    closing &= now.rates < -problem.settings.landing
    if not closing.any():
        return now
    stuck = closing & _held_fast(now, problem, hands=True)
    for body in np.unique(now.near.pair[stuck]).tolist():
        for number in sorted(now.mode.attached):
            joint = problem.joints[number]
            if joint.yields and body in joint.bodies:
                now = part(now, problem, books, number, Parting.PRESSED)
    blocked = bool(np.any(closing & _held_fast(now, problem, hands=False)))
    return moved_on(problem, now, past=replace(now.past, blocked=blocked))


def _held_fast(now: Present, problem: MotionProblem, hands: bool) -> BoolArray:
    """Which contacts (c,) no push can open, because joints hold both bodies."""
    rows = now.rows
    joints = rows.only(rows.kind == EQUALITY) if hands else blow_rows(problem, rows)
    pose = now.state.pose
    body = mobility(problem.bodies, pose.quaternion, joints)
    left, whole = body.yielding(pose.position, now.near).T
    fast: BoolArray = left < HELD * whole
    return fast


def mode_chosen(now: Present, problem: MotionProblem) -> Present:
    """Choose closed rows and sticking bearings by accelerations."""
    rows, state, change = now.rows, now.state, now.past.change
    rate = rows.jacobian @ stacked_velocity(state)
    near = (rows.kind == LIMIT) & (rows.error < NEAR) & (rate < CREEP)
    labels = zip(rows.joint[near].tolist(), rows.row[near].tolist(), strict=True)
    candidates = frozenset(labels) - {change.slack if change else None}
    mode = Mode(now.mode.attached, frozenset(), slips(rows, state))
    given = (problem.linkage, problem.bodies, state, now.time)
    pull, resting = now.force + problem.weight, [j for j, sense in mode.slip.items() if not sense]
    for _ in range(10):
        slip = starting_slips(*given, mode, pull, now.torque, rows, resting=resting)
        before, mode = mode, replace(mode, slip={**mode.slip, **slip})
        mode = replace(mode, closed=closed_rows(*given, mode, pull, now.torque, candidates))
        if mode == before:
            break
    state = on_joints_velocity(*given[:3], now.time, mode)
    return moved_on(problem, now, state=state, mode=mode, past=replace(now.past, change=None))


def tied(problem: MotionProblem, mode: Mode) -> BoolArray:
    """Return which bodies (n,) joints hold."""
    held = [i for k in mode.attached for i in problem.joints[k].bodies if i >= 0]
    found = np.zeros(len(problem.bodies.mass), dtype=bool)
    found[held] = True
    return found
