"""A step of sustained contact with joints: bearings that stick or slip, strings and stops.

Strings and stops are contacts without friction. How a bearing slips, and how hard it rubs, follows
from what it bears in the step itself, so the step is solved until both agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.joint_modes import CREEP, NEAR
from snapsim.mechanics.linkage import (
    FRICTION,
    LIMIT,
    STICTION,
    Mode,
    Stack,
    agree,
    friction_limits,
    kept,
    stacked_velocity,
)
from snapsim.mechanics.mobility import lines, mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.present import Present
from snapsim.mechanics.sustained_contact import (
    ContactStep,
    JointTerms,
    StepTerms,
    Wrenches,
    contact_step,
)
from snapsim.parts.states import Pose, State

TURNS: Final = 50
"""Turns by which bearings' friction and what they bear find each other, at most: in a flight's."""

CHOOSING: Final = 6
"""Turns in which a bearing may still begin or cease to slip."""


@dataclass(frozen=True)
class JointStep:
    """What joints do in a step: the `rows` in its middle; `force` and `torque` (j, 3) of each joint
    as `Reactions` has them, `wrench` (n, 6) on the bodies; `drive_work` and `rubbing_work` [J];
    whether friction and reactions `agreed`."""

    rows: Stack
    force: Array
    torque: Array
    wrench: Array
    drive_work: float
    rubbing_work: float
    agreed: bool = True


def limits_in(rows: Stack) -> Stack:
    """Return the one-sided rows."""
    return rows.only(rows.kind == LIMIT)


def limit_gaps(now: Present) -> Array:
    """Return the one-sided rows' gaps (k,) now [m or rad]."""
    gaps: Array = now.rows.error[now.rows.kind == LIMIT]
    return gaps


def _driven_rows(now: Present, problem: MotionProblem, middle: State, dt: float) -> Stack:
    """Return the rows in the middle of a step, their rates the mean of those at its two ends: the
    new velocities then are on a path that a hand drives, whose speed changes within the step."""
    linkage, attached = problem.linkage, now.mode.attached
    rows = linkage.rows(middle, now.time + dt / 2, attached)
    if not any(problem.joints[k].times for k in attached):
        return rows
    ends = [linkage.rows(middle, t, attached).rate for t in (now.time, now.time + dt)]
    return rows.at_rates(0.5 * (ends[0] + ends[1]))


def joint_step(
    now: Present,
    problem: MotionProblem,
    middle: State,
    load: Wrenches,
    dt: float,
    contacts: ContactSet,
    given: StepTerms,
    chosen: BoolArray | None,
) -> tuple[ContactStep, JointStep]:
    """Return the step with bearings' slip as it is by its end, and `chosen` limits (all without).

    `load` with weight.
    """
    bodies, linkage, rows = problem.bodies, problem.linkage, _driven_rows(now, problem, middle, dt)
    limits = limits_in(rows) if chosen is None else limits_in(rows).only(chosen)
    room = _limit_room(now, limits, chosen, middle, dt)
    slip, size = dict(now.mode.slip), np.zeros(len(linkage.joints))
    for turn in range(TURNS):
        joints = rows.only(kept(rows, Mode(now.mode.attached, frozenset(), slip)))
        moving = np.array([slip.get(int(j), 0.0) for j in rows.joint])
        rubbing = rows.only((rows.kind == FRICTION) & (moving != 0.0))
        rubs = np.array([-slip[int(j)] * size[j] for j in rubbing.joint])
        wanted = JointTerms(
            lines(linkage, limits),
            room,
            joints.rate,
            np.where(joints.kind == FRICTION, 0.0, 1.0),
            _wrenches(rubbing.jacobian.T @ rubs) if len(rubs) else _NO_WRENCHES,
        )
        body = mobility(bodies, middle.pose.quaternion, joints)
        step = contact_step(body, middle, load, dt, contacts, given, wanted)
        before, size = size, friction_limits(linkage, rows, joints, step.held / dt)
        new = _new_slip(slip, size, joints, rubbing, step, dt) if turn < CHOOSING else slip
        if new == slip and np.allclose(size, before, rtol=1e-9, atol=0.0):
            break
        slip = new
    loads = ((joints, step.held / dt), (limits, step.pull / dt), (rubbing, rubs))
    agreed = new == slip and agree(size, before)
    return step, replace(_finished(problem, middle.pose, rows, step, loads), agreed=agreed)


_NO_WRENCHES: Wrenches = np.zeros((0, 3)), np.zeros((0, 3))

_Loads = tuple[tuple[Stack, Array], tuple[Stack, Array], tuple[Stack, Array]]
"""Rows held, one-sided and rubbing, with the mean load [N or N m] along each."""


def no_joints(problem: MotionProblem) -> JointStep:
    """Return what no joints do."""
    none, nothing = np.zeros((0, 3)), np.zeros((0, 6))
    return JointStep(problem.linkage.none, none, none, nothing, 0.0, 0.0)


def _finished(
    problem: MotionProblem, pose: Pose, rows: Stack, step: ContactStep, loads: _Loads
) -> JointStep:
    """Reactions and works of a solved step."""
    linkage, (joints, _) = problem.linkage, loads[0]
    force, torque = np.zeros((2, len(linkage.joints), 3))
    wrench = np.zeros(6 * linkage.count)
    for stack, size in loads:
        one, other = linkage.loads(stack, size, pose)
        force, torque = force + one, torque + other
        wrench = wrench + stack.jacobian.T @ size
    done, stuck = step.held * step.slip, joints.kind == FRICTION
    rubbed = float(done[stuck].sum()) + step.rubbing_work
    driven = float(done[~stuck].sum())
    return JointStep(rows, force, torque, wrench.reshape(-1, 6), driven, rubbed)


def _wrenches(both: Array) -> Wrenches:
    force, torque = both.reshape(-1, 2, 3).swapaxes(0, 1).copy()
    return force, torque


def _limit_room(
    now: Present, limits: Stack, chosen: BoolArray | None, middle: State, dt: float
) -> Array:
    """How far each one-sided row may close, as `lasting_contacts.room` has it for contacts.

    A taut string turns while it pulls: the old velocities close it in the middle of the step, and
    it does no work only where the new ones open it as much there.
    """
    rate = limits.jacobian @ stacked_velocity(middle)
    start = limit_gaps(now)
    start = start if chosen is None else start[chosen]
    room: Array = np.where(start <= NEAR, dt * rate, 2 * np.maximum(limits.error, 0.0))
    return room


def _new_slip(
    slip: dict[int, float], size: Array, joints: Stack, rubbing: Stack, step: ContactStep, dt: float
) -> dict[int, float]:
    """Bearings that break loose under what would hold them, or that would turn back.

    One that sticks takes what a contact could bear as well, so it may have to break loose where
    nothing moves in the end: then it rubs at its limit, and that is not turning back.
    """
    found = dict(slip)
    for i in np.flatnonzero(joints.kind == FRICTION):
        number, load = int(joints.joint[i]), float(step.held[i]) / dt
        if abs(load) > size[number] * (1 + STICTION):
            found[number] = -float(np.sign(load))
    u = np.concatenate([step.velocity, step.spin], axis=1).ravel()
    for number, rate in zip(rubbing.joint.tolist(), rubbing.jacobian @ u, strict=True):
        if slip[number] * rate < -CREEP:
            found[number] = 0.0
    return found
