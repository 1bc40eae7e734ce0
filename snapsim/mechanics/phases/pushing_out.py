"""Bringing a pose onto the joints, and out of contacts, strings and stops that are overrun; what
that took is settled with the motion."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.books import Books
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.joint_changes import OVERRUN
from snapsim.mechanics.joint_modes import tied
from snapsim.mechanics.linkage import EQUALITY, LIMIT, Mode, on_joints_pose
from snapsim.mechanics.mobility import lines, mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import NEARLY
from snapsim.mechanics.position_correction import owed, slowed
from snapsim.mechanics.present import Present
from snapsim.mechanics.sustained_contact import project_out
from snapsim.parts.states import Pose, State

EVEN_ENOUGH: Final = 1e-9
"""Share of the kinetic energy below which an error in the work is left."""


def pushed_out(
    problem: MotionProblem,
    time: float,
    pose: Pose,
    mode: Mode,
    taut: frozenset[tuple[int, int]],
    allowed: float,
    known: ContactSet | None = None,
) -> tuple[Pose, ContactSet | None]:
    """Return the pose without penetration deeper than `allowed` [m], and what is near there, where
    it was looked at last; `known` is what is near `pose` before it is moved."""
    linkage, bodies, touch = problem.linkage, problem.bodies, problem.settings.touch
    held, still = replace(mode, closed=taut), np.zeros_like(pose.position)
    for _ in range(5):
        on_joints = on_joints_pose(linkage, bodies, pose, time, held)
        if on_joints is not pose or known is None:
            known = problem.geometry.contacts(on_joints, NEARLY * touch)
        pose, near, known = on_joints, known, None
        rows = linkage.rows(State(pose, still, still), time, mode.attached)
        overrun = rows.error[rows.kind == LIMIT].min(initial=np.inf)
        if near.gap.min(initial=0.0) >= -allowed and overrun >= -OVERRUN:
            return pose, near
        limits = rows.only((rows.kind == LIMIT) & (rows.error < touch))
        body = mobility(bodies, pose.quaternion, rows.only(rows.kind == EQUALITY))
        contacts = near.only(near.gap < touch)
        pose = project_out(body, pose, contacts, lines(linkage, limits), limits.error)
    return pose, None


def clear(now: Present, problem: MotionProblem, books: Books) -> State:
    """Return the state of a moment pushed out of all contacts, the work of it settled."""
    taut, before = now.past.pressed.taut if now.past.pressed else frozenset(), now.state
    pose, _ = pushed_out(problem, now.time, before.pose, now.mode, taut, 0.0, now.near)
    if pose is before.pose:
        return before
    still, load = np.zeros(before.velocity.shape), (now.force, now.torque)
    none = still, still
    owes = owed(problem.bodies, none, none, load, load, problem.weight, before.pose, pose)
    return settled(now, problem, books, replace(before, pose=pose), now.near.pair, owes)


def settled(
    now: Present,
    problem: MotionProblem,
    books: Books,
    state: State,
    pair: IntArray,
    owes: Array,
) -> State:
    """Return the state with what each body `owes` (2, n) [J] (`owed`) taken from the motion of
    those in contact, by the pairs (c, 2), and booked."""
    wanted, lifted = owes
    has = float(problem.bodies.kinetic_energies(state).max())
    if float(np.abs(wanted).max()) <= EVEN_ENOUGH * has:
        return state
    after, paid = slowed(problem.bodies, state, pair, wanted, tied(problem, now.mode))
    taken, given = float(paid[paid > 0].sum()), -float(paid[paid < 0].sum())
    books.tally = replace(
        books.tally,
        work=books.tally.work - float(paid.sum() + lifted[paid != 0.0].sum()),
        correction_taken=books.tally.correction_taken + taken,
        correction_given=books.tally.correction_given + given,
    )
    return after
