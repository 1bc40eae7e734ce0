"""The motion of rigid bodies from release to rest: flight, strikes and sustained contact in turn.

Flight (`flight`) is integrated with error control until a gap closes; the time of contact is
located on the dense output. A strike (`impact`) changes velocities at a fixed pose. While slow
contacts last, the motion is stepped by the midpoint form of Moreau's scheme: drift half a step at
the old velocity, solve velocity-level contact and friction with the forces and contacts found
there, drift half a step at the new one (Moreau 1988; Acary & Brogliato, Numerical Methods for
Nonsmooth Dynamical Systems, 2008, section 10.1; from memory). It is of second order in the step
where contacts last, and the change of kinetic energy equals the booked works identically. Applied
forces come in as a function of the pose; nothing here knows what they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import ConvexHull

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.contact import ContactGeometry, ContactSet, separation_rate
from snapsim.mechanics.flight import Flight, LoadFunction, Tolerances
from snapsim.mechanics.impact import Blow, resolve_impact
from snapsim.mechanics.joints.contract import perpendiculars
from snapsim.mechanics.position_correction import Moved, moved_between, slowed
from snapsim.mechanics.records import End, Frame, PairBlow, Strike, Tally, no_loads
from snapsim.mechanics.rigid_bodies import RigidBodies, drift
from snapsim.mechanics.simultaneous_blows import STEP
from snapsim.mechanics.sustained_contact import (
    SLIDING,
    ContactStep,
    contact_step,
    project_out,
    turn_all,
    turning_slip,
)
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

Item = Frame | Strike | End

NEARLY = 3.0
"""Touching gaps within which a closing contact is struck: the end of a step meets them so well."""

EVEN_ENOUGH = 1e-9
"""Share of the kinetic energy below which an error in the work is left."""

SHORTEST = 1e-9
"""Shortest step of sustained contact [s], in which a fast gap closes by less than it is known."""

LANDING_TIME = 1e-12
"""Length given to a blow without rebound [s]: too short for a free spin to turn anything."""


@dataclass(frozen=True)
class MotionSettings:
    """Numbers that steer the motion.

    `touch` [m]: gap under which surfaces count as touching, and stay as far apart as they are.
    `slow` [m/s]: rebound speed under which a blow is taken without rebound (1 mm/s rises 0.05
    micrometre); where the applied acceleration a is large it is `hop` [s] * a, so that rebounds
    shorter than about twice that are not followed. `landing` [m/s]: closing speed under which a
    contact counts as closed already, so that sustained contact takes it over (it sinks by half
    that speed times the step). `rest` [m/s]: rim speed under which a touching body counts as at
    rest, for `rest_steps` steps in a row. `contact_step`, `frame_spacing` and `flight_step` are
    the longest steps [s]; a contact step is also held so short that no load changes by much more
    than the share `load_change` from one to the next, that nothing turns by more than `turn` [rad]
    or, by the applied forces alone, moves by more than `fall` [m]. `limit` is the largest number
    of steps; `blow_step` that of blows at several contacts, relative to the fastest contact unit.
    """

    tolerances: Tolerances = field(default_factory=Tolerances)
    touch: float = 1e-6
    slow: float = 1e-3
    hop: float = 5e-5
    landing: float = 1e-4
    load_change: float = 0.012
    rest: float = 2e-5
    rest_steps: int = 8
    contact_step: float = 1.5e-3
    turn: float = 0.03
    fall: float = 1e-3
    frame_spacing: float = 5e-3
    flight_step: float = 0.05
    limit: int = 200_000
    blow_step: float = STEP


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


class Motion:
    """One motion; iterate `run()` to its end. Not shared between threads."""

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
        contact_loads: LoadFunction | None = None,
    ) -> None:
        """Take the loads for flight, and for sustained contact, which bears a rougher solve."""
        self.bodies, self.geometry, self.surfaces = bodies, geometry, surfaces
        self.loads, self.gravity = loads, gravity
        self.contact_loads = contact_loads or loads
        self.state, self.time, self.end = start, 0.0, duration
        self.settings = settings or MotionSettings()
        self.tally = Tally()
        self.steps = 0
        self._still = 0
        self._last_frame = 0.0
        self.borne = no_loads(len(bodies.mass))
        self._driven = 0.0  # work that a moving clamp did in the blow not booked yet [J]
        self._stage = self._stage_radius(start)
        self._flight_hint: float | None = None
        self._contact_hint = self._sink_hint = np.inf
        self._pressed: Trial | None = None
        self._since = Moved(*(np.zeros_like(bodies.inertia[:, 0]) for _ in range(2)))
        self._latest = (np.zeros_like(bodies.inertia[:, 0]), np.zeros_like(bodies.inertia[:, 0]))
        self._nearby = geometry.contacts(start.pose, 0.0)

    def run(self) -> Iterator[Item]:
        """Yield frames and strikes in order of time, then one End."""
        yield self._frame(touching=False)
        ending: tuple[str, str] | None = None
        touching = False
        while ending is None:
            yield from self._prepare()
            contacts = self.geometry.contacts(self.state.pose, NEARLY * self.settings.touch)
            self._nearby = contacts
            if len(contacts.gap):
                rate = separation_rates(self.state, contacts)
                slow = self._slow()
                if np.any(rate < -slow):
                    yield from self._strike(contacts, slow)
                    ending = self._ending()
                    continue
                if np.any(rate < -self.settings.landing):
                    self._land(contacts)
                    continue
                touching = bool(np.any(rate <= slow))
            else:
                touching = False
            yield from self._press() if touching else self._fly()
            ending = self._ending()
        yield self._frame(touching=touching)
        yield self._end(*ending)

    def _prepare(self) -> Iterator[Item]:
        """What happens before contacts are looked at; without joints, nothing."""
        return iter(())

    def broken_off(self, reason: str) -> End:
        """Return the end of a motion that is not followed further, with what was borne so far."""
        return self._end("stopped", reason)

    def _end(self, outcome: str, reason: str) -> End:
        return End(
            self.time,
            outcome,  # type: ignore[arg-type]
            reason,
            self.borne,
            self.steps,
        )

    # -- ends ------------------------------------------------------------------------------------

    def _ending(self) -> tuple[str, str] | None:
        if self._still >= self.settings.rest_steps:
            return "settled", "every free body rests in contact"
        if self.time >= self.end:
            return "moving", f"still moving at the end of the run ({self.end:g} s)"
        away = np.linalg.norm(self.state.pose.position - self._stage[0], axis=1)
        if np.any(away[self.bodies.free] > self._stage[1]):
            return "stopped", f"a body went more than {self._stage[1]:.3g} m from the scene"
        if self.steps >= self.settings.limit:
            return "stopped", f"the limit of {self.settings.limit} steps was reached"
        if not np.all(np.isfinite(self.state.velocity)):
            return "stopped", "the motion could not be computed further (a speed is not finite)"
        return None

    def _stage_radius(self, start: State) -> tuple[Array, float]:
        centre = start.pose.position.mean(axis=0)
        spread = np.linalg.norm(start.pose.position - centre, axis=1) + self.bodies.reach
        return centre, 5.0 + 5.0 * float(spread.max())

    def _frame(self, touching: bool) -> Frame:
        self._last_frame = self.time
        return Frame(self.time, self.state, self.tally, touching)

    def _acceleration(self) -> float:
        """Largest acceleration that the applied forces give a point of a free body [m/s^2].

        In sustained contact by the loads of the last step's middle, which costs nothing.
        """
        if self._pressed is None:
            self._latest = self.loads(self.state.pose)
        force, torque = self._latest
        weight = float(np.linalg.norm(self.gravity))
        return self.bodies.largest_acceleration(self.state, force, torque) + weight

    def _slow(self) -> float:
        return max(self.settings.slow, self.settings.hop * self._acceleration())

    def bearing(self) -> Array:
        """Return what each body, then each joint, bears now (n + j, 2) [N, N m]; blows left out."""
        return np.stack([self.borne.last_force, self.borne.last_torque], axis=1)

    def _note_loads(self, borne: tuple[Array, Array] | None = None) -> None:
        """Note force and torque (n, 3) on each body; without them, those applied now."""
        force, torque = self.loads(self.state.pose) if borne is None else borne
        self.borne = self.borne.noted(force, torque, self.time)

    # -- flight ----------------------------------------------------------------------------------

    def _fly(self) -> Iterator[Frame]:
        """Fly until something touches, the run ends or a body leaves the stage."""
        self.state = replace(self.state, pose=self._push_out(self.state.pose, 0.0))
        flight = self._take_off()
        booked = self.tally
        self._still, self._pressed = 0, None
        while flight.running:
            before = flight.time
            flight.step(self._longest_step())
            self.steps += 1
            if flight.failed:
                self.steps = self.settings.limit
                return
            until = self._first_event(flight, before, flight.time)
            yield from self._frames_between(flight, before, until or flight.time, booked)
            self.time = flight.time if until is None else until
            self.state, self.tally = flight.at(self.time)[0], self._flown(booked, flight, self.time)
            self._note_loads()
            if until is not None or self._ending() is not None:
                break
        self._flight_hint = max(flight.last_step, 1e-6)

    def _take_off(self) -> Flight:
        return Flight(
            self.bodies,
            self.loads,
            self.gravity,
            self.state,
            self.time,
            self.end,
            self.settings.tolerances,
            first_step=self._flight_hint,
        )

    def _flown(self, booked: Tally, flight: Flight, time: float) -> Tally:
        """The books at a time of a flight that began with `booked`."""
        return replace(booked, work=booked.work + flight.at(time)[1])

    def _first_event(self, flight: Flight, begin: float, end: float) -> float | None:
        """Time in the last step at which the flight ends [s]; None where it goes on."""
        return self._first_touch(flight, begin, end)

    def _longest_step(self) -> float:
        """Step [s] after which the nearest pair would just touch, at present speeds and forces."""
        probe = 1e-6
        pose = self.state.pose
        now = self.geometry.gaps(pose)
        if not len(now):
            return self.settings.flight_step
        soon = self.geometry.gaps(drift(pose, self.state.velocity, self.state.spin, probe))
        rate = (soon - now) / probe
        slack = np.maximum(now, 0) + np.maximum(1e-5, 0.01 * np.maximum(now, 0))
        root = np.sqrt(rate**2 + 2 * self._acceleration() * slack)
        times = 2 * slack / np.maximum(root - rate, 1e-300)
        return float(min(self.settings.flight_step, max(times.min(), 1e-7)))

    def _closest(self, flight: Flight, time: float) -> float:
        return float(self.geometry.gaps(flight.at(time)[0].pose).min(initial=np.inf))

    def _first_touch(self, flight: Flight, begin: float, end: float) -> float | None:
        """Time of the first contact in the last step [s], on its open side; None without one."""
        times = begin + (end - begin) * np.concatenate([[0.0], np.arange(1, 9) / 8])
        clear: float | None = begin if self._closest(flight, begin) > 0 else None
        for time in times[1:]:
            if self._closest(flight, time) > 0:
                clear = time
                continue
            if clear is None:
                clear = self._clear_moment(flight, begin, time)
                if clear is None:
                    return float(begin + 0.5 * (time - begin) * 1e-3)
            root: float = brentq(lambda t: self._closest(flight, t), clear, time, xtol=1e-13)
            back = 1e-11
            while root > clear and self._closest(flight, root) <= 0:
                root, back = max(clear, root - back), 4 * back
            return float(root)
        return None

    def _clear_moment(self, flight: Flight, begin: float, end: float) -> float | None:
        """A moment shortly after `begin` at which nothing touches, for bodies that just parted."""
        for halvings in range(1, 30):
            time = begin + (end - begin) * 0.5**halvings
            if self._closest(flight, time) > 0:
                return time
        return None

    def _frames_between(
        self, flight: Flight, begin: float, end: float, booked: Tally
    ) -> Iterator[Frame]:
        """Frames on the dense output so that none are farther apart than the frame spacing."""
        spacing = self.settings.frame_spacing
        while self._last_frame + spacing <= end:
            time = max(self._last_frame + spacing, begin)
            self._last_frame = time
            yield Frame(time, flight.at(time)[0], self._flown(booked, flight, time), False)

    # -- strikes ---------------------------------------------------------------------------------

    def _strike(self, contacts: ContactSet, slow: float) -> Iterator[Item]:
        """Resolve the blow of all touching contacts at the present pose."""
        before = self.state
        rate = separation_rates(before, contacts)
        blow = self._resolve(contacts, self._restitution(contacts, rate, slow))
        tally_before = self.tally
        self._book_blow(State(before.pose, blow.velocity, blow.spin))
        blows = _blows(self._effective_mass, contacts, rate, blow.impulse, slow)
        yield Strike(self.time, before, self.state, tally_before, self.tally, blows)

    def _resolve(self, contacts: ContactSet, restitution: Array) -> Blow:
        return resolve_impact(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(self.state.pose.quaternion),
            self.state.pose.position,
            self.state.velocity,
            self.state.spin,
            contacts.pair,
            contacts.point,
            contacts.normal,
            restitution,
            self._friction(contacts),
            fineness=self.settings.blow_step,
        )

    def _restitution(self, contacts: ContactSet, rate: Array, slow: float) -> Array:
        """Of each contact (c,), zero where it would rebound slower than `slow` [m/s]."""
        pairs = [self.surfaces.pair(int(a), int(b)) for a, b in contacts.pair]
        found = [p.restitution_at(-r) for p, r in zip(pairs, rate.tolist(), strict=True)]
        bounce = np.array(found)
        bounce[-rate * bounce < slow] = 0.0
        return bounce

    def _effective_mass(self, pair: IntArray, point: Array, normal: Array) -> float:
        return effective_mass(self.bodies, self.state, pair, point, normal)

    def _land(self, contacts: ContactSet) -> None:
        """Stop contacts that close too slowly to rebound: a blow of restitution zero."""
        step = contact_step(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(self.state.pose.quaternion),
            self.state.pose.position,
            self.state.velocity,
            self.state.spin,
            np.zeros_like(self.state.velocity),
            np.zeros_like(self.state.velocity),
            LANDING_TIME,
            contacts.pair,
            contacts.point,
            contacts.normal,
            np.zeros_like(contacts.gap),
            self._friction(contacts),
        )
        self._book_blow(State(self.state.pose, step.velocity, step.spin))

    def _book_blow(self, after: State) -> None:
        """Take the state after a blow and book the energy it cost."""
        energy = float(np.sum(self.bodies.kinetic_energies(self.state)))
        lost = energy + self._driven - float(np.sum(self.bodies.kinetic_energies(after)))
        self.tally = replace(
            self.tally,
            impact_loss=self.tally.impact_loss + lost,
            event_gain=self.tally.event_gain + max(0.0, -lost),
            hold_work=self.tally.hold_work + self._driven,
        )
        self._driven = 0.0
        self.steps += 1
        self._still = 0
        self._flight_hint = None
        self.state = after

    def _friction(self, contacts: ContactSet) -> Array:
        pairs = [self.surfaces.pair(int(a), int(b)) for a, b in contacts.pair]
        return np.array([pair.friction for pair in pairs])

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
        spin = float(np.max(np.linalg.norm(self.state.spin, axis=1), initial=0.0))
        acceleration = self._acceleration()
        fall = (self.settings.fall / acceleration) ** 0.5 if acceleration > 0 else np.inf
        dt = min(self.settings.contact_step, fall, self._contact_hint, self._sink_hint)
        if spin > 0:
            dt = min(dt, self.settings.turn / spin)
        return float(min(dt, max(self.end - self.time, 1e-9)))

    def _try_step(self, dt: float) -> Trial:
        """Solve one step of `dt` [s] with the forces and contacts of its middle."""
        state = self.state
        middle = drift(state.pose, state.velocity, state.spin, dt / 2)
        force, torque = self.contact_loads(middle)
        speed = self._rim_speeds(state).max(initial=0.0) + dt * self._acceleration()
        contacts = self.geometry.contacts(middle, self.settings.touch + dt * speed)
        step = self._solve_step(middle, force, torque, contacts, dt)
        return Trial(dt, middle, force, torque, contacts, step)

    def _solve_step(
        self, middle: Pose, force: Array, torque: Array, contacts: ContactSet, dt: float
    ) -> ContactStep:
        return contact_step(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(middle.quaternion),
            middle.position,
            self.state.velocity,
            self.state.spin,
            force + self._weight(),
            torque,
            dt,
            contacts.pair,
            contacts.point,
            contacts.normal,
            self._room(middle, contacts, dt),
            self._friction(contacts),
            grip=self._turning(middle, contacts, dt),
            opening=True,
        )

    def _room(self, middle: Pose, contacts: ContactSet, dt: float) -> Array:
        """How far each contact (c,) may close at the final speed, in `dt` [m].

        An open contact may close just until it touches at the end of the step. One that touched at
        the start ends no nearer than it was: then its force does no work, as on a fixed support.
        Where it turns with the bodies or wanders, the old velocities close it in the middle of the
        step faster than at the start, by no more than accelerations or the touching gap explain,
        and the new ones must open it by the difference there.
        """
        rate = separation_rates(self._half_turned(middle, dt), contacts)
        touching = contacts.gap - rate * dt / 2 <= self.settings.touch
        bend = np.minimum(rate - np.minimum(self._rates_at_start(contacts), 0.0), 0.0)
        explained = np.fmax(dt * self._acceleration(), 4 * self.settings.touch / dt)
        lasting = dt * np.where(rate > 0, rate, np.where(bend > -explained, bend, 0.0))
        room: Array = np.where(touching, lasting, 2 * np.maximum(contacts.gap, 0.0))
        return room

    def _half_turned(self, middle: Pose, dt: float) -> State:
        """The state that meets the forces in the middle of a step: its spins have turned half."""
        spin = self.state.spin.copy()
        turn_all(self.bodies.inverse_inertia_world(middle.quaternion), spin, 0.5 * dt)
        return State(middle, self.state.velocity, spin)

    def _turning(self, middle: Pose, contacts: ContactSet, dt: float) -> Array:
        """Slip (c,) [m/s] that turning during the step explains: none where it slid before."""
        last, where = self._pressed, (contacts.pair, contacts.point)
        bound = turning_slip(middle.position, self.state.spin, *where, dt)
        if last is None or not len(last.contacts) or not len(contacts):
            return bound
        nearest, known = counterparts(contacts, last.contacts)
        slid = known & (last.step.status[nearest] == SLIDING)
        return np.where(slid, 0.0, bound)

    def _rates_at_start(self, contacts: ContactSet) -> Array:
        """The rate (c,), at the start of the step, of the nearest contact there of the same pair;
        zero where there was none."""
        near = self._nearby
        if not len(near) or not len(contacts):
            return np.zeros(len(contacts))
        nearest, known = counterparts(contacts, near)
        rates: Array = np.where(known, separation_rates(self.state, near)[nearest], 0.0)
        return rates

    def _smoother_step(self, trial: Trial) -> float | None:
        """A shorter step where the load changed too much since the last one; None where it fits.

        The midpoint rule's error in the work is about the square of that change over 24.
        """
        self._contact_hint = np.inf
        force, torque = self._latest
        far = 1.0 if self._pressed is not None else 2.0  # from the step's start to its middle
        weight = self.bodies.mass * float(np.linalg.norm(self.gravity)) + 1e-9
        now = np.linalg.norm(trial.force, axis=1) + weight
        pull = np.linalg.norm(trial.force - force, axis=1) / now
        twist = np.linalg.norm(trial.torque - torque, axis=1) / (now * self.bodies.reach)
        change = far * float(np.max((pull + twist)[self.bodies.free]))
        allowed = self.settings.load_change
        self._contact_hint = trial.dt * float(np.clip(allowed / max(change, 1e-9), 0.3, 2.0))
        if change < 2 * allowed or trial.dt < 1e-6:
            return None
        return self._contact_hint

    def _sinking_time(self, trial: Trial) -> float | None:
        """A shorter step where bodies sink into each other by more than `touch`; None where not.

        Contacts that wander fast, as those of a disc about to lie flat, need it: pushed out from
        deeper, they are struck.
        """
        pose = drift(trial.middle, trial.step.velocity, trial.step.spin, trial.dt / 2)
        depth = -float(self.geometry.gaps(pose).min(initial=0.0))
        if depth <= self.settings.touch or trial.dt < 1e-5:
            return None
        self._sink_hint = trial.dt * max(0.3, min(0.7, (self.settings.touch / depth) ** 0.5))
        return self._sink_hint

    def _weight(self) -> Array:
        """Weight of the free bodies (n, 3) [N]."""
        weight: Array = np.where(self.bodies.free, self.bodies.mass, 0.0)[:, None] * self.gravity
        return weight

    def _closing_time(self, trial: Trial) -> tuple[float | None, Trial]:
        """A shorter step that ends where a contact that was open closes, or None and a trial.

        The gap is taken as a parabola in time, from its rates at the start and at the end of the
        same step without the closing contacts. Where that step ends just as they close, it is the
        one to take: what they close with is then a blow of its own.
        """
        dt, sides = trial.dt, self._sides(trial)
        gap, rate = sides.start, sides.rate
        new = (gap > sides.near) | (rate > self._slow())
        if dt <= SHORTEST or not np.any(new & (sides.push > 0)):
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
        contacts = trial.contacts
        rate = separation_rates(replace(self.state, pose=trial.middle), contacts)
        start = contacts.gap - rate * trial.dt / 2
        push = np.einsum("ci,ci->c", trial.step.impulse, contacts.normal)
        return Sides(start, contacts.gap, rate, push, np.full(len(contacts), self.settings.touch))

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
        evened = self._even_out(trial, before, moved_between(sunk, pose))
        self.steps += 1
        mean_v = 0.5 * (before.velocity + step.velocity)
        work = step.applied_work - dt * float(np.sum(self._weight() * mean_v))
        self.tally = replace(
            self.tally,
            work=self.tally.work + work + evened,
            friction_loss=self.tally.friction_loss - step.friction_work,
            contact_work=self.tally.contact_work + step.normal_work,
        )
        pressing, twisting = pressing_loads(contacts, step.impulse, dt, trial.middle.position)
        self._note_loads((trial.force + pressing, trial.torque + twisting))
        self._watch_rest(before, contacts, step)
        self._pressed, self._latest = trial, (trial.force, trial.torque)
        self._since = Moved(0.5 * dt * self.state.velocity, 0.5 * dt * self.state.spin)

    def _even_out(self, trial: Trial, before: State, pushed: Moved) -> float:
        """Settle with the motion what pushing out and the step's quadrature gave it or took.

        From one load to the next, over d1 before and d2 after the step's start, the field did
        (F1 + F2).(d1 + d2)/2 by the trapezoidal rule; the steps booked F1.d1 + F2.d2, too much by
        (F1 - F2).(d1 - d2)/2. Return the work [J] to be booked for it.
        """
        ahead = Moved(0.5 * trial.dt * before.velocity, 0.5 * trial.dt * before.spin)
        change = self._latest[0] - trial.force, self._latest[1] - trial.torque
        over = -0.5 * ahead.works(*change)
        if self._pressed is not None:
            over += 0.5 * self._since.works(*change)
        raised = -pushed.works(trial.force + self._weight(), trial.torque)
        had = self.bodies.kinetic_energies(self.state)
        if float(np.abs(over + raised).max()) <= EVEN_ENOUGH * float(had.max()):
            return 0.0
        self.state = slowed(
            self.bodies, self.state, trial.contacts.pair, over + raised, self._tied()
        )
        paid = had - self.bodies.kinetic_energies(self.state)
        lifted = pushed.works(self._weight(), np.zeros_like(trial.torque))
        return -float(paid.sum() + lifted[paid != 0.0].sum())

    def _tied(self) -> BoolArray:
        """Bodies (n,) that joints hold."""
        return np.zeros(len(self.bodies.mass), dtype=bool)

    def _watch_rest(self, before: State, contacts: ContactSet, step: ContactStep) -> None:
        """Count the steps in a row in which every free body is held and hardly moves."""
        speeds = np.maximum(self._rim_speeds(before), self._rim_speeds(self.state))
        held = self._supported(contacts, step)
        quiet = np.all((speeds < self.settings.rest) & held | ~self.bodies.free)
        self._still = self._still + 1 if quiet else 0

    def _supported(self, contacts: ContactSet, step: ContactStep) -> BoolArray:
        """Which bodies (n,) something presses on."""
        held = np.zeros(len(self.bodies.mass), dtype=bool)
        pushed = np.einsum("ci,ci->c", step.impulse, contacts.normal) > 0
        held[contacts.pair[pushed].ravel()] = True
        return held

    def _push_out(self, pose: Pose, allowed: float) -> Pose:
        """Undo penetration where any is deeper than `allowed` [m]."""
        for _ in range(5):
            contacts = self.geometry.contacts(pose, self.settings.touch)
            if not len(contacts.gap) or contacts.gap.min() >= -allowed:
                break
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

    def _rim_speeds(self, state: State) -> Array:
        linear = np.sqrt(np.sum(state.velocity**2, axis=1))
        speeds: Array = linear + self.bodies.reach * np.sqrt(np.sum(state.spin**2, axis=1))
        return speeds


def separation_rates(state: State, contacts: ContactSet) -> Array:
    """Return d(gap)/dt at each contact (c,) [m/s]: negative where bodies close on each other."""
    return separation_rate(state.pose, state.velocity, state.spin, contacts)


def counterparts(contacts: ContactSet, others: ContactSet) -> tuple[IntArray, BoolArray]:
    """Return which of `others` (at least one) is the nearest of the same pair to each contact
    (c,), and whether there is one."""
    away = np.sum((contacts.point[:, None] - others.point) ** 2, axis=2)
    other = np.any(contacts.pair[:, None] != others.pair, axis=2)
    away[other] = np.inf
    return away.argmin(axis=1), ~np.all(other, axis=1)


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


def pressing_loads(
    contacts: ContactSet, impulse: Array, dt: float, position: Array
) -> tuple[Array, Array]:
    """Return sustained contact force and its torque about the centre of mass `position` (n, 3) of
    each body, (n, 3) each [N, N m]."""
    force, torque = np.zeros_like(position), np.zeros_like(position)
    for side, sign in ((0, 1.0), (1, -1.0)):
        body, push = contacts.pair[:, side], sign * impulse / dt
        np.add.at(force, body, push)
        np.add.at(torque, body, np.cross(contacts.point - position[body], push))
    return force, torque


def _blows(
    mass: Callable[[IntArray, Array, Array], float],
    contacts: ContactSet,
    rate: Array,
    impulse: Array,
    slow: float,
) -> tuple[PairBlow, ...]:
    """Gather contact points into one blow a pair, at the point where its impulse acts.

    Pairs that closed slower than `slow` [m/s] were only pressed together by the others' blow.
    """
    found = []
    for pair in np.unique(contacts.pair, axis=0):
        mine = np.flatnonzero(np.all(contacts.pair == pair, axis=1))
        push = np.einsum("ci,ci->c", impulse[mine], contacts.normal[mine])
        if push.sum() <= 0 or -rate[mine].min() < slow:
            continue
        share = push / push.sum()
        point = share @ contacts.point[mine]
        normal = share @ contacts.normal[mine]
        normal = normal / np.linalg.norm(normal)
        found.append(
            PairBlow(
                pair,
                point,
                normal,
                float(-share @ rate[mine]),
                mass(pair, point, normal),
                impulse[mine].sum(axis=0),
                spanned_area(contacts.point[mine[rate[mine] < 0]], normal),
            )
        )
    return tuple(found)


def spanned_area(points: Array, normal: Array) -> float:
    """Return the area [m^2] of the convex hull of `points` (k, 3) seen along `normal` (3,).

    Zero for fewer than three, and for points on one line.
    """
    if len(points) < 3:
        return 0.0
    t1, t2 = perpendiculars(normal)
    flat = (points - points.mean(axis=0)) @ np.stack([t1, t2], axis=1)
    wide = np.linalg.svd(flat, compute_uv=False)
    if wide[1] < 1e-3 * wide[0]:
        return 0.0
    return float(ConvexHull(flat).volume)


def effective_mass(
    bodies: RigidBodies, state: State, pair: IntArray, point: Array, normal: Array
) -> float:
    """Return 1/(n W n) of two bodies (2,) at `point` (3,) along `normal` (3,) [kg]."""
    inverse = bodies.inverse_inertia_world(state.pose.quaternion)
    yielding = 0.0
    for i in pair:
        lever = np.cross(point - state.pose.position[i], normal)
        yielding += bodies.inverse_mass[i] + lever @ inverse[i] @ lever
    return float(1 / yielding)
