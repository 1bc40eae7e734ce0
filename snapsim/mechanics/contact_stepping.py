"""Sustained contact, step by step, of bodies that slide, roll or rest on each other.

While slow contacts last, the motion is stepped by the midpoint form of Moreau's scheme: drift half
a step at the old velocity, solve velocity-level contact and friction with the forces and contacts
found there (`sustained_contact`), drift half a step at the new one (Moreau 1988; Acary & Brogliato,
Numerical Methods for Nonsmooth Dynamical Systems, 2008, section 10.1; from memory). It is of second
order in the step where contacts last, and the change of kinetic energy equals the booked works
identically. A step is solved again, shorter, where the load changed too much, an open contact
closes or bodies sank into each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.mechanics.contact import ContactGeometry, ContactSet, separation_rate
from snapsim.mechanics.flight import LoadFunction
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
from snapsim.mechanics.motion_settings import NEARLY, MotionSettings
from snapsim.mechanics.position_correction import owed, slowed
from snapsim.mechanics.records import Frame, Tally, no_loads
from snapsim.mechanics.rigid_bodies import RigidBodies, drift
from snapsim.mechanics.sustained_contact import ContactStep, contact_step, project_out
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

EVEN_ENOUGH = 1e-9
"""Share of the kinetic energy below which an error in the work is left."""

SHORTEST = 1e-9
"""Shortest step of sustained contact [s], in which a fast gap closes by less than it is known."""


@dataclass(frozen=True)
class Trial:
    """A step of sustained contact, solved but not yet taken; loads and contacts of its middle."""

    dt: float
    middle: Pose
    force: Array
    torque: Array
    contacts: ContactSet
    step: ContactStep


@dataclass(frozen=True)
class Sides:
    """One-sided contacts (c,) of a trial: gap at its `start` and `gap` in its middle [m or rad],
    `rate` there by the velocities before it, impulse `push`, and the gap `near` under which each
    counts as closed."""

    start: Array
    gap: Array
    rate: Array
    push: Array
    near: Array


class ContactStepping:
    """The state of a motion and its steps of sustained contact."""

    def __init__(
        self,
        bodies: RigidBodies,
        geometry: ContactGeometry,
        surfaces: SurfaceRules,
        loads: LoadFunction,
        gravity: Array,
        start: State,
        duration: float,
        settings: MotionSettings | None = None,
        *,
        contact_loads: LoadFunction | None = None,
    ) -> None:
        """Take the loads for flight, and for sustained contact, which bears a rougher solve."""
        self.bodies, self.geometry, self.surfaces = bodies, geometry, surfaces
        self.loads, self.gravity = loads, gravity
        self.contact_loads = contact_loads or loads
        self.state, self.time, self.end = start, 0.0, duration
        self.settings = settings or MotionSettings()
        smallest = float(bodies.reach[bodies.free].min(initial=np.inf))
        self._fall = min(self.settings.fall, self.settings.fall_share * smallest)
        self.tally = Tally()
        self.steps = 0
        self._still = 0
        self._last_frame = 0.0
        self.borne = no_loads(len(bodies.mass))
        self._driven = 0.0  # work that a moving clamp did in the blow not booked yet [J]
        self._contact_hint = self._sink_hint = np.inf
        self._pressed: Trial | None = None
        still = np.zeros((len(bodies.mass), 3))
        self._since = self._latest = self._resting = still, still
        self._near = self._at_start(geometry.contacts(start.pose, 0.0))
        self._known: tuple[State, Trial | None, float] | None = None  # acceleration [m/s^2]
        self._pushed: tuple[Pose, ContactSet] | None = None
        self._pull = float(np.linalg.norm(gravity))
        self.weight: Array = np.where(bodies.free, bodies.mass, 0.0)[:, None] * gravity  # (n, 3)
        self._least = np.where(bodies.free, bodies.mass * self._pull + 1e-9, np.inf)
        self._rubbing = _friction_table(surfaces, len(bodies.mass))

    def _acceleration(self) -> float:
        """Largest acceleration that the applied forces give a point of a free body [m/s^2].

        In sustained contact by the loads of the last step's middle, which costs nothing.
        """
        known, state, pressed = self._known, self.state, self._pressed
        if known is not None and known[0] is state and known[1] is pressed:
            return known[2]
        if pressed is None:
            self._latest, self._since = self.loads(state.pose), self._resting
        found = self.bodies.largest_acceleration(state, *self._latest) + self._pull
        self._known = state, pressed, found
        return found

    def _slow(self) -> float:
        return max(self.settings.slow, self.settings.hop * self._acceleration())

    def bearing(self) -> Array:
        """Return what each body, then each joint, bears now (n + j, 2) [N, N m]; blows left out."""
        return np.stack([self.borne.last_force, self.borne.last_torque], axis=1)

    def _note_loads(self, borne: tuple[Array, Array] | None = None) -> None:
        """Note force and torque (n, 3) on each body; without them, those applied now."""
        force, torque = self.loads(self.state.pose) if borne is None else borne
        self.borne = self.borne.noted(force, torque, self.time)

    def _frame(self, touching: bool) -> Frame:
        self._last_frame = self.time
        return Frame(self.time, self.state, self.tally, touching)

    def _friction(self, contacts: ContactSet) -> Array:
        """Friction of each contact (c,)."""
        friction: Array = self._rubbing[contacts.pair[:, 0], contacts.pair[:, 1]]
        return friction

    def _nearby(self) -> ContactSet:
        """What touches or nearly does now, noted as where the next step starts from."""
        pose, pushed = self.state.pose, self._pushed
        if pushed is not None and pushed[0] is pose:
            contacts = pushed[1]
        else:
            contacts = self.geometry.contacts(pose, NEARLY * self.settings.touch)
        self._near = self._at_start(contacts)
        return contacts

    def _at_start(self, contacts: ContactSet) -> tuple[ContactSet, Array]:
        """Contacts at the present pose and their rates."""
        return contacts, separation_rates(self.state, contacts)

    # -- sustained contact -----------------------------------------------------------------------

    def _press(self) -> Iterator[Frame]:
        """Take one step with contacts that last, ended early where a new one closes."""
        dt = self._contact_duration()
        trial = self._try_step(dt)
        for _ in range(40):
            sooner = self._smoother_step(trial)
            if sooner is None:
                sooner, trial = self._closing_time(trial)
            if sooner is None:
                sooner = self._sinking_time(trial)
            if sooner is None:
                break
            trial = self._try_step(sooner)
        self._accept(trial)
        self._sink_hint *= 1.5
        if self.time - self._last_frame >= self.settings.frame_spacing:
            yield self._frame(touching=True)

    def _contact_duration(self) -> float:
        """Step [s]: small turns, and small displacement by the present acceleration."""
        spin = longest(self.state.spin)
        acceleration = self._acceleration()
        fall = (self._fall / acceleration) ** 0.5 if acceleration > 0 else np.inf
        dt = min(self.settings.contact_step, fall, self._contact_hint, self._sink_hint)
        if spin > 0:
            dt = min(dt, self.settings.turn / spin)
        return float(min(dt, max(self.end - self.time, 1e-9)))

    def _try_step(self, dt: float) -> Trial:
        """Solve one step of `dt` [s] with the forces and contacts of its middle."""
        state = self.state
        middle = drift(state.pose, state.velocity, state.spin, dt / 2)
        force, torque = self.contact_loads(middle)
        speed = self.bodies.rim_speeds(state).max(initial=0.0) + dt * self._acceleration()
        contacts = self.geometry.contacts(middle, self.settings.touch + dt * speed)
        step = self._solve_step(middle, force, torque, contacts, dt)
        return Trial(dt, middle, force, torque, contacts, step)

    def _solve_step(
        self, middle: Pose, force: Array, torque: Array, contacts: ContactSet, dt: float
    ) -> ContactStep:
        inverse_inertia = self.bodies.inverse_inertia_world(middle.quaternion)
        room, friction, slip = self._terms(middle, inverse_inertia, contacts, dt)
        return contact_step(
            self.bodies.inverse_mass,
            inverse_inertia,
            middle.position,
            self.state.velocity,
            self.state.spin,
            force + self.weight,
            torque,
            dt,
            contacts.pair,
            contacts.point,
            contacts.normal,
            room,
            friction,
            grip=slip,
            opening=True,
        )

    def _terms(
        self, middle: Pose, inverse_inertia: Array, contacts: ContactSet, dt: float
    ) -> tuple[Array, Array, Array]:
        """How far each contact (c,) may close in `dt` [m], its friction, and the slip [m/s] that
        turning during the step explains: none where it slid before."""
        near, rate = self._near
        last, touch = self._pressed, self.settings.touch
        before = _NOTHING if last is None else (*last.contacts.where, last.step.status)
        return terms(
            middle.position,
            inverse_inertia,
            self.state.velocity,
            self.state.spin,
            contacts.fields,
            (*near.where, rate),
            before,
            self._rubbing,
            dt,
            touch,
            max(4 * touch / dt, dt * self._acceleration()),
        )

    def _smoother_step(self, trial: Trial) -> float | None:
        """A shorter step where the load changed too much since the last one; None where it fits.

        The midpoint rule's error in the work is about the square of that change over 24.
        """
        self._contact_hint = np.inf
        force, torque = self._latest
        far = 1.0 if self._pressed is not None else 2.0  # from the step's start to its middle
        loads = trial.force, trial.torque, force, torque
        change = far * load_change(self._least, self.bodies.reach, *loads)
        allowed = self.settings.load_change
        self._contact_hint = trial.dt * min(max(allowed / max(change, 1e-9), 0.3), 2.0)
        if change < 2 * allowed or trial.dt < 1e-6:
            return None
        return self._contact_hint

    def _sinking_time(self, trial: Trial) -> float | None:
        """A shorter step where bodies sink into each other by more than `touch`; None where not.

        Contacts that wander fast, as those of a disc about to lie flat, need it: pushed out from
        deeper, they are struck.
        """
        pose = drift(trial.middle, trial.step.velocity, trial.step.spin, trial.dt / 2)
        depth = self.geometry.depth(pose)
        if depth <= self.settings.touch or trial.dt < 1e-8:
            return None
        self._sink_hint = trial.dt * max(0.3, min(0.7, (self.settings.touch / depth) ** 0.5))
        return self._sink_hint

    def _closing_time(self, trial: Trial) -> tuple[float | None, Trial]:
        """A shorter step that ends where a contact that was open closes, or None and a trial.

        The gap is taken as a parabola in time, from its rates at the start and at the end of the
        same step without the closing contacts. Where that step ends just as they close, it is the
        one to take: what they close with is then a blow of its own.
        """
        dt, sides = trial.dt, self._sides(trial)
        gap, rate = sides.start, sides.rate
        new = (gap > sides.near) | (rate > self._slow())
        if dt <= SHORTEST or not (new & (sides.push > 0)).any():
            return None, trial
        free = self._without(trial, new)
        end = self._end_rates(trial, free.step)
        near = 0.5 * sides.near[new]
        if np.all((sides.gap + end * dt / 2)[new] > -near):
            return None, free
        above = np.maximum(gap[new] - near, 0.0)
        when, speed = closings(above, rate[new], end[new], dt)
        blows = (when < dt) & (speed >= self.settings.landing)
        if not np.any(blows):
            return None, trial
        return float(np.clip(when[blows].min(), SHORTEST, 0.999 * dt)), trial

    def _sides(self, trial: Trial) -> Sides:
        """Everything one-sided that a trial reckons with."""
        contacts, state = trial.contacts, self.state
        moving = trial.middle.position, state.velocity, state.spin
        start, rate, push = one_sided(*moving, contacts.fields, trial.step.impulse, trial.dt)
        near = np.full(len(contacts), self.settings.touch)
        return Sides(start, contacts.gap, rate, push, near)

    def _without(self, trial: Trial, left_out: BoolArray) -> Trial:
        """The same step without some of its one-sided contacts."""
        others = select(trial.contacts, ~left_out)
        step = self._solve_step(trial.middle, trial.force, trial.torque, others, trial.dt)
        return replace(trial, contacts=others, step=step)

    def _end_rates(self, trial: Trial, step: ContactStep) -> Array:
        """Rates of the sides of a trial with the final velocities of a step."""
        return separation_rates(State(trial.middle, step.velocity, step.spin), trial.contacts)

    def _accept(self, trial: Trial) -> None:
        """Move to the end of the step, push out what sank in, and book the works."""
        before, step, contacts, dt = self.state, trial.step, trial.contacts, trial.dt
        self.time += dt
        sunk = drift(trial.middle, step.velocity, step.spin, dt / 2)
        pose = self._push_out(sunk, 0.5 * self.settings.touch)
        self.state = State(pose, step.velocity, step.spin)
        evened = self._even_out(trial, before, sunk)
        self.steps += 1
        mean_v = 0.5 * (before.velocity + step.velocity)
        work = step.applied_work - dt * float((self.weight * mean_v).sum())
        self.tally = replace(
            self.tally,
            work=self.tally.work + work + evened,
            friction_loss=self.tally.friction_loss - step.friction_work,
            contact_work=self.tally.contact_work + step.normal_work,
        )
        self._note_loads(self._borne_in(trial))
        self._watch_rest(before, contacts, step)
        self._pressed, self._latest = trial, (trial.force, trial.torque)
        self._since = 0.5 * dt * self.state.velocity, 0.5 * dt * self.state.spin

    def _borne_in(self, trial: Trial) -> tuple[Array, Array]:
        """Applied and contact force and torque (n, 3) [N, N m] on each body during a step."""
        force, torque, contacts = trial.force.copy(), trial.torque.copy(), trial.contacts
        push, place = (trial.step.impulse, trial.dt), trial.middle.position
        add_pressing_loads(contacts.pair, contacts.point, *push, place, force, torque)
        return force, torque

    def _even_out(self, trial: Trial, before: State, sunk: Pose) -> float:
        """Settle with the motion what pushing out and the step's quadrature gave it or took.

        Return the work [J] to be booked for it.
        """
        ahead = 0.5 * trial.dt * before.velocity, 0.5 * trial.dt * before.spin
        loads = (trial.force, trial.torque), self._latest
        owes, lifted = owed(
            self.bodies, ahead, self._since, *loads, self.weight, sunk, self.state.pose
        )
        has = float(self.bodies.kinetic_energies(self.state).max())
        if trial.step.normal_work < -EVEN_ENOUGH * has:
            owes += self._held_back(trial, before)
        if float(np.abs(owes).max()) <= EVEN_ENOUGH * has:
            return 0.0
        pair = trial.contacts.pair
        self.state, paid = slowed(self.bodies, self.state, pair, owes, self._tied())
        taken, given = float(paid[paid > 0].sum()), -float(paid[paid < 0].sum())
        self.tally = replace(
            self.tally,
            correction_taken=self.tally.correction_taken + taken,
            correction_given=self.tally.correction_given + given,
        )
        return -float(paid.sum() + lifted[paid != 0.0].sum())

    def _lasting(self, contacts: ContactSet) -> BoolArray:
        """Which contacts (c,) pressed in the last step."""
        last = self._pressed
        if last is None or not len(contacts) or not len(last.contacts):
            return np.zeros(len(contacts), dtype=bool)
        nearest = counterparts(*contacts.where, *last.contacts.where)
        pressed = pushes(last.step.impulse, last.contacts.normal) > 0
        return (nearest >= 0) & pressed[nearest]

    def _held_back(self, trial: Trial, before: State) -> Array:
        """Work (n,) [J], negative, of contacts that pressed in the last step too.

        Along a bent surface the step ends with a speed a little into it, of second order in the
        step, and the body sinks by that; the push takes what the load does on the way, and lifting
        the body out would take it once more. It is no blow: the motion has it back.
        """
        contacts, work = trial.contacts, np.zeros(len(self.bodies.mass))
        lasts = self._lasting(contacts)
        if not lasts.any():
            return work
        rates = separation_rates(State(trial.middle, before.velocity, before.spin), contacts)
        rates += separation_rates(
            State(trial.middle, self.state.velocity, self.state.spin), contacts
        )
        done = 0.5 * pushes(trial.step.impulse, contacts.normal) * np.where(lasts, rates, 0.0)
        first, second = contacts.pair.T
        np.add.at(work, np.where(self.bodies.free[first], first, second), np.minimum(done, 0.0))
        return work

    def _tied(self) -> BoolArray:
        """Bodies (n,) that joints hold."""
        return np.zeros(len(self.bodies.mass), dtype=bool)

    def _watch_rest(self, before: State, contacts: ContactSet, step: ContactStep) -> None:
        """Count the steps in a row in which every free body is held and hardly moves."""
        rim = self.bodies.rim_speeds
        moving = np.maximum(rim(before), rim(self.state)) >= self.settings.rest
        if (moving & self.bodies.free).any():
            self._still = 0
            return
        held = self._supported(contacts, step)
        self._still = self._still + 1 if (held | ~self.bodies.free).all() else 0

    def _supported(self, contacts: ContactSet, step: ContactStep) -> BoolArray:
        """Which bodies (n,) something presses on."""
        push = pushes(step.impulse, contacts.normal)
        return pressed_bodies(contacts.pair, push, len(self.bodies.mass))

    def _push_out(self, pose: Pose, allowed: float) -> Pose:
        """Undo penetration where any is deeper than `allowed` [m]."""
        for _ in range(5):
            nearby = self.geometry.contacts(pose, NEARLY * self.settings.touch)
            if nearby.gap.min(initial=0.0) >= -allowed:
                self._pushed = pose, nearby
                break
            contacts = select(nearby, nearby.gap < self.settings.touch)
            position, quaternion = project_out(
                self.bodies.inverse_mass,
                self.bodies.inverse_inertia_world(pose.quaternion),
                pose.position,
                pose.quaternion,
                contacts.pair,
                contacts.point,
                contacts.normal,
                contacts.gap,
            )
            pose = Pose(position, quaternion)
        return pose


_NOTHING = np.zeros((0, 2), dtype=np.int64), np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
"""Pairs, points and status of no contact."""


def _friction_table(surfaces: SurfaceRules, count: int) -> Array:
    """Friction (n, n) of every two of `count` bodies."""
    numbers = range(count)
    table = [surfaces.pair(a, b).friction for a in numbers for b in numbers]
    return np.array(table, dtype=np.float64).reshape(count, count)


def separation_rates(state: State, contacts: ContactSet) -> Array:
    """Return d(gap)/dt at each contact (c,) [m/s]: negative where bodies close on each other."""
    return separation_rate(state.pose, state.velocity, state.spin, contacts)


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


def select(contacts: ContactSet, chosen: BoolArray) -> ContactSet:
    """Return the chosen contacts (c,) alone."""
    return ContactSet(
        contacts.pair[chosen], contacts.point[chosen], contacts.normal[chosen], contacts.gap[chosen]
    )
