"""The present moment of a motion: what is known of it, reckoned once and handed on.

A phase of the motion (`phases`: flight, blow, press) takes one and gives the next. What a later
moment needs of an earlier one is in its `past`, nothing else is remembered.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.contact import ContactSet, separation_rate
from snapsim.mechanics.joint_changes import Change
from snapsim.mechanics.linkage import Mode, Stack
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import NEARLY
from snapsim.parts.states import State


@dataclass(frozen=True)
class Pressed:
    """The last step of sustained contact, as the next one sees it: force and torque (n, 3) in its
    middle, its contacts there with their `status` (c,), which of them `stayed` pressed and which
    `hopped` (c,), how far (n, 3) all moved and turned from there to its end, and the rows of joints
    (joint, row) that were `taut`."""

    force: Array
    torque: Array
    contacts: ContactSet
    status: IntArray
    stayed: BoolArray
    hopped: BoolArray
    since: tuple[Array, Array]
    taut: frozenset[tuple[int, int]]


@dataclass(frozen=True)
class Past:
    """What earlier steps left: the last one `pressed`, where nothing has flown since; lengths [s]
    that the next step of flight, and of contact, may have; steps in a row `still`; the `change` of
    a joint that ended a flight; whether joints are `blocked`; whether a blow was `struck` since;
    amplitudes (k,) that are `stirred` up in a brake, and how fast it was `slowing` bodies [1/s]."""

    pressed: Pressed | None = None
    flight_length: float | None = None
    contact_length: float = np.inf
    sinking_length: float = np.inf
    still: int = 0
    change: Change | None = None
    blocked: bool = False
    struck: bool = False
    stirred: Array | None = None
    slowing: float | None = None


@dataclass(frozen=True)
class Present:
    """A state at a `time` [s]; what is `near`, with rates (c,) [m/s] of its gaps; force and torque
    (n, 3) of the field, in sustained contact those of the last step's middle, and the largest
    `acceleration` [m/s^2] by which all that is applied moves a point; the joints' `mode` and the
    `rows` of those attached."""

    time: float
    state: State
    near: ContactSet
    rates: Array
    force: Array
    torque: Array
    acceleration: float
    mode: Mode
    rows: Stack
    past: Past

    def slow(self, problem: MotionProblem) -> float:
        """Return the speed [m/s] under which a rebound is not followed."""
        settings = problem.settings
        return max(settings.slow, settings.hop * self.acceleration)


def present(
    problem: MotionProblem,
    time: float,
    state: State,
    mode: Mode,
    past: Past,
    near: ContactSet | None = None,
    load: tuple[Array, Array] | None = None,
) -> Present:
    """Return what is known at a moment; `near` and `load` where they are known already."""
    if near is None:
        near = problem.geometry.contacts(state.pose, NEARLY * problem.settings.touch)
    if past.pressed is not None:
        load = past.pressed.force, past.pressed.torque
    force, torque = load or problem.loads(state.pose)
    fastest = problem.bodies.largest_acceleration(state, force, torque) + problem.pull
    rates = separation_rate(state.pose, state.velocity, state.spin, near)
    rows = problem.linkage.rows(state, time, mode.attached)
    return Present(time, state, near, rates, force, torque, fastest, mode, rows, past)


def moved_on(
    problem: MotionProblem,
    now: Present,
    *,
    state: State | None = None,
    mode: Mode | None = None,
    past: Past | None = None,
) -> Present:
    """Return the same moment with other velocities, joints or past; its pose stays."""
    if state is None and (mode is None or mode.attached == now.mode.attached):
        return replace(now, mode=mode or now.mode, past=past or now.past)
    known = now.near, (now.force, now.torque)
    after, mode, past = state or now.state, mode or now.mode, past or now.past
    return present(problem, now.time, after, mode, past, *known)


def under_other_loads(now: Present, problem: MotionProblem) -> Present:
    """Return the same moment of a problem with other loads."""
    past, known = now.past, now.past.pressed
    if known is not None:
        force, torque = problem.pressing_loads(now.state.pose)
        known = replace(known, force=force, torque=torque)
    past = replace(past, pressed=known, contact_length=np.inf, sinking_length=np.inf, still=0)
    return present(problem, now.time, now.state, now.mode, past, near=now.near)
