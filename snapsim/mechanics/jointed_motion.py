"""The motion of jointed bodies: that of free ones, with joints in flight, blows and contact.

In flight the joints keep one mode (`linkage.Mode`): which one-sided rows are closed, and how each
bearing slips. The mode is chosen so that accelerations and reactions are complementary, and the
flight ends where it has to change: a string becomes taut or a stop is reached (a blow with its
restitution), a taut string's tension or a stop's push falls to zero, a bearing stops or breaks
loose, a string breaks, a hold lets go. In sustained contact the one-sided rows are contacts
without friction. What a string or a hold bears is judged by its steady force: a blow has an
impulse only.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.cone_complementarity import solve_contacts
from snapsim.mechanics.contact import ContactGeometry, ContactSet
from snapsim.mechanics.contact_stepping import Sides, Trial, select, separation_rates
from snapsim.mechanics.ending import Ending, EndReason, Parting, ended
from snapsim.mechanics.flight import Flight, LoadFunction
from snapsim.mechanics.impact import Blow
from snapsim.mechanics.jointed_contact import (
    JointedStep,
    StepRows,
    jointed_blow,
    jointed_step,
    unilateral_operator,
    unilateral_rows,
)
from snapsim.mechanics.jointed_flight import JointedFlight
from snapsim.mechanics.joints.contract import Joint
from snapsim.mechanics.linkage import (
    EQUALITY,
    FRICTION,
    HELD,
    LIMIT,
    STICTION,
    Elimination,
    Linkage,
    Mode,
    Reactions,
    Stack,
    closed_rows,
    friction_limits,
    inverse_mass_matrix,
    kept,
    moved,
    on_joints_pose,
    on_joints_velocity,
    stacked_velocity,
    starting_slips,
)
from snapsim.mechanics.motion import LANDING_TIME, Item, Motion
from snapsim.mechanics.motion_settings import NEARLY, MotionSettings
from snapsim.mechanics.records import End, Frame, JointRecord, Tally
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.mechanics.sustained_contact import ContactStep
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

NEAR = 1e-8
"""Gap of a one-sided row [m, rad] under which it counts as closed."""

OVERRUN = 1e-9
"""How far a one-sided row may be overrun [m, rad] before the flight ends there."""

CREEP = 1e-6
"""Slip [m/s, rad/s] under which a bearing may stick, and a row counts as neither way."""


@dataclass(frozen=True)
class _Change:
    """Why a flight ended: a row goes slack, or a joint parts; a bearing's change needs neither."""

    time: float
    slack: tuple[int, int] | None = None
    parts: int | None = None
    why: Parting | None = None


_Guard = tuple[Literal["slack", "loose"] | Parting, int, int]
"""What a reaction may ask for, of which joint, in which row (0 where it is the whole joint)."""


class JointedMotion(Motion):
    """A motion with joints; as `Motion` otherwise."""

    def __init__(
        self,
        joints: tuple[Joint, ...],
        bodies: RigidBodies,
        geometry: ContactGeometry,
        surfaces: SurfaceRules,
        loads: LoadFunction,
        gravity: Array,
        start: State,
        duration: float,
        *,
        settings: MotionSettings | None = None,
        contact_loads: LoadFunction | None = None,
    ) -> None:
        given = (bodies, geometry, surfaces, loads, gravity, start)
        super().__init__(*given, duration, settings, contact_loads=contact_loads)
        self.linkage = Linkage(joints, len(bodies.mass))
        self.mode = Mode(frozenset(range(len(joints))))
        self.records = [JointRecord() for _ in joints]
        self._change: _Change | None = None
        self._flight: JointedFlight | None = None
        self._step: JointedStep | None = None
        self._blocked = False
        self._taut: frozenset[tuple[int, int]] = frozenset()
        self.mode = replace(self.mode, slip=self._slips(self._rows(start, 0.0), start))
        pose = on_joints_pose(self.linkage, bodies, start.pose, 0.0, self.mode)
        self.state = replace(start, pose=pose)
        self.state = on_joints_velocity(self.linkage, bodies, self.state, 0.0, self.mode)

    # -- what holds now --------------------------------------------------------------------------

    def _rows(self, state: State, time: float) -> Stack:
        return self.linkage.rows(state, time, self.mode.attached)

    def _slips(self, rows: Stack, state: State) -> dict[int, float]:
        """The sense in which each bearing moves, 0 where it hardly does."""
        rubs = rows.only(rows.kind == FRICTION)
        rate = rubs.jacobian @ stacked_velocity(state)
        sense = np.where(np.abs(rate) > CREEP, np.sign(rate), 0.0)
        return dict(zip(rubs.joint.tolist(), sense.tolist(), strict=True))

    def _prepare(self) -> Iterator[Item]:
        """Let joints part that must, take the blows of rows that closed, choose the mode."""
        change, self._change = self._change, None
        if change is not None and change.parts is not None and change.why is not None:
            self._part(change.parts, change.why)
        for number in sorted(self.mode.attached):
            if self.linkage.joints[number].until <= self.time + 1e-12:
                self._part(number, Parting.TIME_UP)
        self._grip()
        yield from self._snap()
        self._choose_mode(change.slack if change else None)

    def _part(self, number: int, why: Parting) -> None:
        gone = frozenset({number})
        closed = frozenset(key for key in self.mode.closed if key[0] != number)
        self.mode = replace(self.mode, attached=self.mode.attached - gone, closed=closed)
        record = replace(self.records[number], last_force=0.0, last_torque=0.0)
        self.records[number] = replace(record, parted=self.time, why=why)

    def _choose_mode(self, slack: tuple[int, int] | None) -> None:
        """Choose closed rows and sticking bearings by accelerations."""
        rows = self._rows(self.state, self.time)
        rate = rows.jacobian @ stacked_velocity(self.state)
        near = (rows.kind == LIMIT) & (rows.error < NEAR) & (rate < CREEP)
        labels = zip(rows.joint[near].tolist(), rows.row[near].tolist(), strict=True)
        candidates = frozenset(labels) - {slack}
        mode = Mode(self.mode.attached, frozenset(), self._slips(rows, self.state))
        pressed = self._pressed
        force, torque = (
            self.loads(self.state.pose) if pressed is None else (pressed.force, pressed.torque)
        )
        given = (self.linkage, self.bodies, self.state, self.time)
        pull, resting = force + self.weight, [j for j, sense in mode.slip.items() if not sense]
        for _ in range(10):
            slip = starting_slips(*given, mode, pull, torque, rows, resting=resting)
            before, mode = mode, replace(mode, slip={**mode.slip, **slip})
            mode = replace(mode, closed=closed_rows(*given, mode, pull, torque, candidates))
            if mode == before:
                break
        self.mode = mode
        self.state = on_joints_velocity(*given[:3], self.time, mode)

    # -- blows -----------------------------------------------------------------------------------

    def _blow_rows(self, rows: Stack) -> Stack:
        """The rows that take part in a blow: not those of a hand, nor friction."""
        firm = np.array([not self.linkage.joints[j].yields for j in rows.joint], dtype=bool)
        return rows.only((rows.kind == EQUALITY) & firm)

    def _near_limits(self, rows: Stack) -> Stack:
        return rows.only((rows.kind == LIMIT) & (rows.error < NEARLY * NEAR))

    def _snap(self) -> Iterator[Item]:
        """The blow of strings that became taut and of stops that were reached."""
        rows = self._rows(self.state, self.time)
        limits = self._near_limits(rows)
        if not np.any(limits.jacobian @ stacked_velocity(self.state) < -CREEP):
            return
        contacts = self.geometry.contacts(self.state.pose, self.settings.touch)
        yield self._frame(touching=True)
        rate = separation_rates(self.state, contacts)
        blow = self._resolve(contacts, self._restitution(contacts, rate, self._slow()))
        self._book_blow(State(self.state.pose, blow.velocity, blow.spin))
        yield self._frame(touching=True)

    def _resolve(self, contacts: ContactSet, restitution: Array) -> Blow:
        rows = self._rows(self.state, self.time)
        limits = self._near_limits(rows)
        rate = limits.jacobian @ stacked_velocity(self.state)
        bounce = np.array([self.linkage.joints[j].restitution for j in limits.joint])
        bounce[-rate * bounce < self._slow()] = 0.0
        firm = self._blow_rows(rows)
        blow = jointed_blow(
            self.bodies,
            self.state,
            contacts,
            self._friction(contacts),
            restitution,
            limits,
            bounce,
            firm,
        )
        if np.any(firm.rate != 0.0):  # else rounding only
            after = State(self.state.pose, blow.velocity, blow.spin)
            energy = [float(np.sum(self.bodies.kinetic_energies(s))) for s in (self.state, after)]
            self._driven = energy[1] - energy[0] + blow.lost
        return blow

    def _book_blow(self, after: State) -> None:
        """Book it, and let go the holds that lost their part."""
        super()._book_blow(after)
        rows = self._rows(self.state, self.time)
        slip = np.abs(rows.jacobian @ stacked_velocity(self.state) - rows.rate)
        lost = (rows.kind == EQUALITY) & (slip > self.settings.slow)
        for number in np.unique(rows.joint[lost]).tolist():
            self._part(number, Parting.TORN_AWAY)

    def _land(self, contacts: ContactSet) -> None:
        """Stop contacts that close too slowly to rebound, and what closes with them."""
        still = np.zeros_like(self.state.velocity)
        rows = self._rows(self.state, self.time)
        limits, none = self._near_limits(rows), rows.only(np.zeros(0, dtype=np.int64))
        step = jointed_step(
            self.linkage,
            self.bodies,
            self.state,
            still,
            still,
            LANDING_TIME,
            StepRows(
                contacts,
                np.zeros(len(contacts)),
                self._friction(contacts),
                limits,
                np.zeros(len(limits)),
                rows.only(rows.kind == EQUALITY),
                none,
                np.zeros(0),
            ),
            stop=True,
        )
        self._driven = step.drive_work
        self._book_blow(State(self.state.pose, step.velocity, step.spin))

    def _grip(self) -> None:
        """Where a joint drives a part against something, a hand lets go; a clamp ends the run."""
        contacts = self.geometry.contacts(self.state.pose, self.settings.touch)
        if not len(contacts):
            return
        closing = separation_rates(self.state, contacts) < -self.settings.landing
        if not np.any(closing):
            return
        stuck = closing & self._held_fast(contacts, hands=True)
        for body in np.unique(contacts.pair[stuck]).tolist():
            for number in sorted(self.mode.attached):
                joint = self.linkage.joints[number]
                if joint.yields and body in joint.bodies:
                    self._part(number, Parting.PRESSED)
        self._blocked = bool(np.any(closing & self._held_fast(contacts, hands=False)))

    def _held_fast(self, contacts: ContactSet, hands: bool) -> BoolArray:
        """Which contacts (c,) no push can open, because joints hold both bodies."""
        rows = self._rows(self.state, self.time)
        joints = rows.only(rows.kind == EQUALITY) if hands else self._blow_rows(rows)
        none = rows.only(np.zeros(0, dtype=np.int64))
        inverse = inverse_mass_matrix(self.bodies, self.state.pose.quaternion)
        reduced = Elimination(joints.jacobian, inverse).reduced(inverse)
        normals = unilateral_rows(self.state, contacts, none)[::3]
        left = np.einsum("ci,ij,cj->c", normals, reduced, normals)
        fast: BoolArray = left < HELD * np.einsum("ci,ij,cj->c", normals, inverse, normals)
        return fast

    def _effective_mass(self, pair: IntArray, point: Array, normal: Array) -> float:
        contact = ContactSet(pair[None], point[None], normal[None], np.zeros(1))
        rows = self._rows(self.state, self.time)
        inverse = inverse_mass_matrix(self.bodies, self.state.pose.quaternion)
        reduced = Elimination(self._blow_rows(rows).jacobian, inverse).reduced(inverse)
        none = rows.only(np.zeros(0, dtype=np.int64))
        row = unilateral_rows(self.state, contact, none)[0]
        return float(1 / max(row @ reduced @ row, 1e-300))

    # -- flight ----------------------------------------------------------------------------------

    def _next_stop(self) -> float:
        """When the law of a joint that lasts changes next [s], infinite where none does."""
        times = [t for number in self.mode.attached for t in self.linkage.joints[number].times]
        return min((t for t in times if t > self.time + 1e-12), default=np.inf)

    def _take_off(self) -> Flight:
        self._step, self._taut = None, frozenset()
        self._flight = JointedFlight(
            self.linkage,
            self.mode,
            self.bodies,
            self.loads,
            self.gravity,
            self.state,
            self.time,
            min(self.end, self._next_stop()),
            tolerances=self.settings.tolerances,
            first_step=self._flight_hint,
        )
        return self._flight

    def _frames_between(
        self, flight: Flight, begin: float, end: float, booked: Tally
    ) -> Iterator[Frame]:
        """Frames brought back onto the joints: interpolation keeps them to some 1e-8 m only."""
        for frame in super()._frames_between(flight, begin, end, booked):
            given = (self.linkage, self.bodies)
            pose = on_joints_pose(*given, frame.state.pose, frame.time, self.mode)
            state = replace(frame.state, pose=pose)
            yield replace(frame, state=on_joints_velocity(*given, state, frame.time, self.mode))

    def _flown(self, booked: Tally, flight: Flight, time: float) -> Tally:
        assert isinstance(flight, JointedFlight)
        work, friction, drive = flight.books(time)
        return replace(
            booked,
            work=booked.work + work,
            friction_loss=booked.friction_loss - friction,
            hold_work=booked.hold_work + drive,
        )

    def _first_event(self, flight: Flight, begin: float, end: float) -> float | None:
        assert isinstance(flight, JointedFlight)
        touch = self._first_touch(flight, begin, end)
        until = end if touch is None else touch
        self._change = self._by_reactions(flight, begin, until)
        if self._change is not None:
            until = self._change.time
        row = self._by_rows(flight, begin, until)
        if row is not None:
            self._change = None
            return row
        return self._change.time if self._change else touch

    def _by_rows(self, flight: JointedFlight, begin: float, end: float) -> float | None:
        """When an open row closes or a bearing comes to rest; None without either."""

        def margins(time: float) -> Array:
            state = flight.at(time)[0]
            rows = self._rows(state, time)
            chosen = ~kept(rows, self.mode)
            open_rows = rows.only(chosen & (rows.kind == LIMIT))
            sliding = rows.only(chosen & (rows.kind == FRICTION))
            sense = np.array([self.mode.slip[int(j)] for j in sliding.joint])
            rate = sliding.jacobian @ stacked_velocity(state)
            return np.concatenate([open_rows.error + OVERRUN, sense * rate + OVERRUN])

        times = begin + (end - begin) * np.arange(9) / 8
        values = np.array([margins(t) for t in times])
        if not values.size:
            return None
        shift = np.minimum(values[0], 0.0) - 1e-15
        crossed = np.flatnonzero(np.any(values[1:] < shift, axis=1))
        if not len(crossed):
            return None
        i = int(crossed[0])
        rows = np.flatnonzero(values[i + 1] < shift)
        roots = [
            brentq(lambda t, k=k: margins(t)[k] - shift[k], times[i], times[i + 1], xtol=1e-13)
            for k in rows
        ]
        return float(min(roots))

    def _by_reactions(self, flight: JointedFlight, begin: float, end: float) -> _Change | None:
        """The first change that a reaction brings by `end`; it is looked for at `end` only."""
        found = self._guards(flight.reactions(end))
        broken = [key for key, margin in found.items() if margin < 0]
        changes = []
        for key in broken:
            time = self._guard_root(flight, key, begin, end)
            kind, joint, row = key
            if kind == "slack":
                changes.append(_Change(time, slack=(joint, row)))
            elif kind == "loose":
                changes.append(_Change(time))
            else:
                changes.append(_Change(time, parts=joint, why=kind))
        return min(changes, key=lambda c: c.time) if changes else None

    def _guard_root(self, flight: JointedFlight, key: _Guard, begin: float, end: float) -> float:
        def margin(time: float) -> float:
            return self._guards(flight.reactions(time))[key]

        if margin(begin) <= 0:
            return begin
        return float(brentq(margin, begin, end, xtol=1e-10))

    def _guards(self, found: Reactions) -> dict[_Guard, float]:
        """Margins [N or N m], negative where a reaction asks for another mode."""
        slack = 1e-9 * float(np.abs(self.weight).sum()) + 1e-12
        guards: dict[_Guard, float] = {}
        stack = found.stack
        for i in np.flatnonzero(stack.kind == LIMIT):
            joint, row = int(stack.joint[i]), int(stack.row[i])
            guards["slack", joint, row] = float(found.multiplier[i]) + slack
        for i in np.flatnonzero(stack.kind == FRICTION):
            number = int(stack.joint[i])
            limit = found.friction_limit[number] * (1 + STICTION)
            guards["loose", number, 0] = limit - abs(float(found.multiplier[i])) + slack
        for number in self.mode.attached:
            for kind, size, limit in self._limits(number, found.force, found.torque):
                guards[kind, number, 0] = limit - size
        return guards

    def _limits(
        self, number: int, force: Array, torque: Array
    ) -> tuple[tuple[Parting, float, float], ...]:
        joint = self.linkage.joints[number]
        both = (
            (Parting.FORCE_LIMIT, float(np.linalg.norm(force[number])), joint.force_limit),
            (Parting.TORQUE_LIMIT, float(np.linalg.norm(torque[number])), joint.torque_limit),
        )
        return tuple(entry for entry in both if np.isfinite(entry[2]))

    # -- sustained contact -----------------------------------------------------------------------

    def _contact_duration(self) -> float:
        return min(super()._contact_duration(), self._next_stop() - self.time)

    def _solve_step(
        self,
        middle: Pose,
        force: Array,
        torque: Array,
        contacts: ContactSet,
        dt: float,
        chosen: BoolArray | None = None,
    ) -> JointedStep:
        """Solve with the bearings' slip as it is by the end of the step and `chosen` limits."""
        state = replace(self.state, pose=middle)
        rows = self._driven_rows(state, dt)
        limits = rows.only(rows.kind == LIMIT)
        limits = limits if chosen is None else limits.only(chosen)
        inverse_inertia = self.bodies.inverse_inertia_world(middle.quaternion)
        room, friction, grip = self._terms(middle, inverse_inertia, contacts, dt)
        slip, size = dict(self.mode.slip), np.zeros(len(self.linkage.joints))
        for turn in range(8):
            joints = rows.only(kept(rows, Mode(self.mode.attached, frozenset(), slip)))
            moving = np.array([slip.get(int(j), 0.0) for j in rows.joint])
            rubbing = rows.only((rows.kind == FRICTION) & (moving != 0.0))
            step = jointed_step(
                self.linkage,
                self.bodies,
                state,
                force + self.weight,
                torque,
                dt,
                StepRows(
                    contacts,
                    room,
                    friction,
                    limits,
                    self._limit_room(limits, chosen, state, dt),
                    joints,
                    rubbing,
                    np.array([-slip[int(j)] * size[j] for j in rubbing.joint]),
                    grip,
                ),
            )
            before, size = size, friction_limits(self.linkage, rows, joints, step.held / dt)
            new = self._new_slip(slip, size, joints, rubbing, step, dt) if turn < 6 else slip
            if new == slip and np.allclose(size, before, rtol=1e-9, atol=0.0):
                break
            slip = new
        return step

    def _driven_rows(self, state: State, dt: float) -> Stack:
        """The rows in the middle of a step, their rates the mean of those at its two ends: the new
        velocities then are on a path that a hand drives, whose speed changes within the step."""
        rows = self._rows(state, self.time + dt / 2)
        if not any(self.linkage.joints[k].times for k in self.mode.attached):
            return rows
        ends = [self._rows(state, t).rate for t in (self.time, self.time + dt)]
        return replace(rows, rate=0.5 * (ends[0] + ends[1]))

    def _new_slip(
        self,
        slip: dict[int, float],
        size: Array,
        joints: Stack,
        rubbing: Stack,
        step: JointedStep,
        dt: float,
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
        u = stacked_velocity(State(self.state.pose, step.velocity, step.spin))
        for number, rate in zip(rubbing.joint.tolist(), rubbing.jacobian @ u, strict=True):
            if slip[number] * rate < -CREEP:
                found[number] = 0.0
        return found

    def _limit_room(
        self, limits: Stack, chosen: BoolArray | None, state: State, dt: float
    ) -> Array:
        """How far each one-sided row may close, as `_room` has it for contacts.

        A taut string turns while it pulls: the old velocities close it in the middle of the step,
        and it does no work only where the new ones open it as much there.
        """
        rate = limits.jacobian @ stacked_velocity(state)
        start = self._limit_gaps()
        start = start if chosen is None else start[chosen]
        room: Array = np.where(start <= NEAR, dt * rate, 2 * np.maximum(limits.error, 0.0))
        return room

    def _sides(self, trial: Trial) -> Sides:
        """Contacts, then strings and stops."""
        step, sides = trial.step, super()._sides(trial)
        assert isinstance(step, JointedStep)
        limits = self._limits_at(trial)
        rate = limits.jacobian @ stacked_velocity(self.state)
        return Sides(
            np.concatenate([sides.start, self._limit_gaps()]),
            np.concatenate([sides.gap, limits.error]),
            np.concatenate([sides.rate, rate]),
            np.concatenate([sides.push, step.pull]),
            np.concatenate([sides.near, np.full(len(limits), NEAR)]),
        )

    def _limit_gaps(self) -> Array:
        """The one-sided rows' gaps (k,) now [m or rad]."""
        rows = self._rows(self.state, self.time)
        gaps: Array = rows.error[rows.kind == LIMIT]
        return gaps

    def _limits_at(self, trial: Trial) -> Stack:
        rows = self._rows(replace(self.state, pose=trial.middle), self.time + trial.dt / 2)
        return rows.only(rows.kind == LIMIT)

    def _without(self, trial: Trial, left_out: BoolArray) -> Trial:
        count = len(trial.contacts)
        others = select(trial.contacts, ~left_out[:count])
        chosen = ~left_out[count:]
        given = (trial.middle, trial.force, trial.torque, others, trial.dt, chosen)
        step, pull = self._solve_step(*given), np.zeros(len(chosen))
        pull[chosen] = step.pull
        return replace(trial, contacts=others, step=replace(step, pull=pull))

    def _end_rates(self, trial: Trial, step: ContactStep) -> Array:
        limits, end = self._limits_at(trial), State(trial.middle, step.velocity, step.spin)
        return np.append(super()._end_rates(trial, step), limits.jacobian @ stacked_velocity(end))

    def _accept(self, trial: Trial) -> None:
        """Move to the end of the step, bring it back onto the joints and book what that took."""
        step = trial.step
        assert isinstance(step, JointedStep)
        self._step, self._flight = step, None
        self._taut = self._pulling(trial, step)
        super()._accept(trial)
        taut = replace(self.mode, closed=self._taut)
        state = on_joints_velocity(self.linkage, self.bodies, self.state, self.time, taut)
        energy = [float(np.sum(self.bodies.kinetic_energies(s))) for s in (self.state, state)]
        self.state = state
        self.tally = replace(
            self.tally,
            contact_work=self.tally.contact_work + energy[1] - energy[0],
            friction_loss=self.tally.friction_loss - step.rubbing_work,
            hold_work=self.tally.hold_work + step.drive_work,
        )
        for number in sorted(self.mode.attached):
            for passed, size, limit in self._limits(number, step.force, step.torque):
                if size > limit and number in self.mode.attached:
                    self._part(number, passed)

    def _pulling(self, trial: Trial, step: JointedStep) -> frozenset[tuple[int, int]]:
        """The one-sided rows that were closed at the start of a step and pull in it."""
        limits = self._limits_at(trial)
        closed = (self._limit_gaps() <= NEAR) & (step.pull > 0)
        labels = zip(limits.joint[closed].tolist(), limits.row[closed].tolist(), strict=True)
        return frozenset(labels)

    def _push_out(self, pose: Pose, allowed: float) -> Pose:
        """Bring a pose onto the joints, and out of contacts and one-sided rows."""
        mode, still = replace(self.mode, closed=self._taut), np.zeros_like(pose.position)
        for _ in range(5):
            pose = on_joints_pose(self.linkage, self.bodies, pose, self.time, mode)
            state = State(pose, still, still)
            contacts = self.geometry.contacts(pose, self.settings.touch)
            rows = self._rows(state, self.time)
            limits = rows.only((rows.kind == LIMIT) & (rows.error < self.settings.touch))
            deep = contacts.gap.min(initial=np.inf) < -allowed
            if not deep and limits.error.min(initial=np.inf) >= -OVERRUN:
                break
            inverse = inverse_mass_matrix(self.bodies, pose.quaternion)
            joints = rows.only(rows.kind == EQUALITY)
            reduced = Elimination(joints.jacobian, inverse).reduced(inverse)
            sides = unilateral_rows(state, contacts, limits)
            operator = unilateral_operator(sides, reduced, inverse, len(contacts))
            q = np.zeros(len(sides))
            q[::3] = np.concatenate([contacts.gap, limits.error])
            scale = max(float(-q.min()), 1e-15)
            push, _ = solve_contacts(
                operator, q, np.zeros(len(q) // 3), np.zeros(len(q)), 1e-12 * scale
            )
            pose = moved(pose, reduced @ (sides.T @ push))
        return pose

    def _tied(self) -> BoolArray:
        """Bodies (n,) that joints hold."""
        held = [i for k in self.mode.attached for i in self.linkage.joints[k].bodies if i >= 0]
        tied = np.zeros(len(self.bodies.mass), dtype=bool)
        tied[held] = True
        return tied

    def _supported(self, contacts: ContactSet, step: object) -> BoolArray:
        return super()._supported(contacts, step) | self._tied()  # type: ignore[arg-type]

    # -- loads and ends --------------------------------------------------------------------------

    def _note_loads(self, borne: tuple[Array, Array] | None = None) -> None:
        """Note what bodies and joints bear; in flight also whether everything hangs still."""
        force, torque = self.loads(self.state.pose) if borne is None else borne
        if self._step is not None:
            self._note_joints(self._step.force, self._step.torque)
            wrench = self._step.wrench
            super()._note_loads((force + wrench[:, :3], torque + wrench[:, 3:]))
            return
        assert self._flight is not None
        found = self._flight.reactions(self.time)
        self._note_joints(found.force, found.torque)
        super()._note_loads((force + found.wrench[:, :3], torque + found.wrench[:, 3:]))
        both = found.acceleration.reshape(-1, 6)
        size = np.linalg.norm(both[:, :3], axis=1)
        size = size + self.bodies.reach * np.linalg.norm(both[:, 3:], axis=1)
        calm = (self.bodies.rim_speeds(self.state) < self.settings.rest) & (size < CALM)
        self._still = self._still + 1 if np.all(calm | ~self.bodies.free) else 0

    def bearing(self) -> Array:
        """Return what each body, then each joint, bears now (n + j, 2) [N, N m]; blows left out."""
        joints = [(r.last_force, r.last_torque) for r in self.records]
        return np.concatenate([super().bearing(), np.array(joints).reshape(-1, 2)])

    def _note_joints(self, force: Array, torque: Array) -> None:
        for number in self.mode.attached:
            one, two = float(np.linalg.norm(force[number])), float(np.linalg.norm(torque[number]))
            old = self.records[number]
            new = replace(old, last_force=one, last_torque=two)
            if one > old.peak_force:
                new = replace(new, peak_force=one, peak_time=self.time)
            if two > old.peak_torque:
                new = replace(new, peak_torque=two, torque_time=self.time)
            self.records[number] = new

    def _ending(self) -> Ending | None:
        if self._blocked:
            return ended(EndReason.JOINT_BLOCKED)
        if np.isfinite(self._next_stop()):
            self._still = 0
        found = super()._ending()
        at_rest = found is not None and found.reason == EndReason.AT_REST
        return ended(EndReason.AT_REST_HELD) if at_rest else found

    def _end(self, ending: Ending) -> End:
        return replace(super()._end(ending), joints=tuple(self.records))


CALM = 1e-4
"""Acceleration of a rim [m/s^2] below which a hanging body that hardly moves counts as at rest."""
