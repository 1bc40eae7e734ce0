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

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.mechanics.contact import ContactGeometry, ContactSet
from snapsim.mechanics.flight import Flight, LoadFunction, Tolerances
from snapsim.mechanics.impact import resolve_impact
from snapsim.mechanics.records import End, Frame, PairBlow, Strike, Tally
from snapsim.mechanics.rigid_bodies import RigidBodies, drift
from snapsim.mechanics.sustained_contact import ContactStep, contact_step, project_out
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

Item = Frame | Strike | End


@dataclass(frozen=True)
class MotionSettings:
    """Numbers that steer the motion.

    `touch` [m]: gap under which surfaces count as touching. `slow` [m/s]: closing speed under which
    a blow is taken without rebound (a rebound of 1 mm/s rises 0.05 micrometre); where the applied
    acceleration a is large it is `hop` [s] * a, so that rebounds shorter than about twice that are
    not followed. `rest` [m/s]: rim speed under which a touching body counts as at rest, for
    `rest_steps` steps in a row. `contact_step`, `frame_spacing` and `flight_step` are the longest
    steps [s]. `limit` is the largest number of steps of any kind.
    """

    tolerances: Tolerances = Tolerances()
    touch: float = 2e-6
    slow: float = 1e-3
    hop: float = 5e-5
    rest: float = 2e-5
    rest_steps: int = 8
    contact_step: float = 1e-3
    frame_spacing: float = 5e-3
    flight_step: float = 0.05
    limit: int = 200_000


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
    ) -> None:
        self.bodies, self.geometry, self.surfaces = bodies, geometry, surfaces
        self.loads, self.gravity = loads, gravity
        self.state, self.time, self.end = start, 0.0, duration
        self.settings = settings or MotionSettings()
        self.tally = Tally()
        self.steps = 0
        self._still = 0
        self._last_frame = 0.0
        self._peak = np.zeros(len(bodies.mass))
        self._peak_time = np.zeros(len(bodies.mass))
        self._stage = self._stage_radius(start)
        self._flight_hint: float | None = None

    def run(self) -> Iterator[Item]:
        """Yield frames and strikes in order of time, then one End."""
        yield self._frame(touching=False)
        ending: tuple[str, str] | None = None
        while ending is None:
            contacts = self.geometry.contacts(self.state.pose, self.settings.touch)
            if len(contacts.gap):
                rate = separation_rates(self.state, contacts)
                if np.any(rate < -self._slow()):
                    yield from self._strike(contacts)
                    continue
                touching = bool(np.any(rate <= self._slow()))
            else:
                touching = False
            yield from self._press() if touching else self._fly()
            ending = self._ending()
        yield self._frame(touching=touching)
        yield End(
            self.time,
            ending[0],  # type: ignore[arg-type]
            ending[1],
            self._peak,
            self._peak_time,
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
        """Largest acceleration that the applied forces give a point of a free body [m/s^2]."""
        force, torque = self.loads(self.state.pose)
        linear = np.linalg.norm(force * self.bodies.inverse_mass[:, None], axis=1)
        inverse = self.bodies.inverse_inertia_world(self.state.pose.quaternion)
        turning = np.linalg.norm(np.einsum("nij,nj->ni", inverse, torque), axis=1)
        spin = np.linalg.norm(self.state.spin, axis=1)
        total = linear + (turning + spin**2) * self.bodies.reach
        weight = float(np.linalg.norm(self.gravity))
        return float(np.max(total[self.bodies.free], initial=0.0)) + weight

    def _slow(self) -> float:
        return max(self.settings.slow, self.settings.hop * self._acceleration())

    def _note_loads(self, contact: Array | None = None) -> None:
        total = self.loads(self.state.pose)[0] if contact is None else contact
        size = np.linalg.norm(total, axis=1)
        higher = size > self._peak
        self._peak = np.where(higher, size, self._peak)
        self._peak_time = np.where(higher, self.time, self._peak_time)

    # -- flight ----------------------------------------------------------------------------------

    def _fly(self) -> Iterator[Frame]:
        """Fly until something touches, the run ends or a body leaves the stage."""
        self.state = replace(self.state, pose=self._push_out(self.state.pose, 0.0))
        flight = Flight(
            self.bodies,
            self.loads,
            self.gravity,
            self.state,
            self.time,
            self.end,
            self.settings.tolerances,
            first_step=self._flight_hint,
        )
        work_before = self.tally.work
        self._still = 0
        while flight.running:
            before = flight.time
            flight.step(self._longest_step())
            self.steps += 1
            if flight.failed:
                self.steps = self.settings.limit
                return
            until = self._first_touch(flight, before, flight.time)
            yield from self._frames_between(flight, before, until or flight.time, work_before)
            self.state, work = flight.at(flight.time if until is None else until)
            self.time = flight.time if until is None else until
            self.tally = replace(self.tally, work=work_before + work)
            self._note_loads()
            if until is not None or self._ending() is not None:
                break
        self._flight_hint = max(flight.last_step, 1e-6)

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
        a = self._acceleration()
        times = (rate + np.sqrt(rate**2 + 2 * a * slack)) / a
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
                    return begin + 0.5 * (time - begin) * 1e-3
            root = float(brentq(lambda t: self._closest(flight, t), clear, time, xtol=1e-13))
            back = 1e-11
            while root > clear and self._closest(flight, root) <= 0:
                root, back = max(clear, root - back), 4 * back
            return root
        return None

    def _clear_moment(self, flight: Flight, begin: float, end: float) -> float | None:
        """A moment shortly after `begin` at which nothing touches, for bodies that just parted."""
        for halvings in range(1, 30):
            time = begin + (end - begin) * 0.5**halvings
            if self._closest(flight, time) > 0:
                return time
        return None

    def _frames_between(
        self, flight: Flight, begin: float, end: float, work_before: float
    ) -> Iterator[Frame]:
        """Frames on the dense output so that none are farther apart than the frame spacing."""
        spacing = self.settings.frame_spacing
        while self._last_frame + spacing <= end:
            time = max(self._last_frame + spacing, begin)
            state, work = flight.at(time)
            self._last_frame = time
            yield Frame(time, state, replace(self.tally, work=work_before + work), False)

    # -- strikes ---------------------------------------------------------------------------------

    def _strike(self, contacts: ContactSet) -> Iterator[Item]:
        """Resolve the blow of all touching contacts at the present pose."""
        before = self.state
        rate = separation_rates(before, contacts)
        pairs = [self.surfaces.pair(int(a), int(b)) for a, b in contacts.pair]
        slow = self._slow()
        restitution = np.array([p.restitution for p in pairs])
        restitution[(rate < 0) & (rate > -slow)] = 0.0
        friction = np.array([p.friction for p in pairs])
        blow = resolve_impact(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(before.pose.quaternion),
            before.pose.position,
            before.velocity,
            before.spin,
            contacts.pair,
            contacts.point,
            contacts.normal,
            restitution,
            friction,
        )
        after = State(before.pose, blow.velocity, blow.spin)
        energy = float(np.sum(self.bodies.kinetic_energies(before)))
        lost = energy - float(np.sum(self.bodies.kinetic_energies(after)))
        tally_before = self.tally
        self.tally = replace(
            self.tally,
            impact_loss=self.tally.impact_loss + lost,
            event_gain=self.tally.event_gain + max(0.0, -lost),
        )
        self.steps += 1
        self.state, self._still = after, 0
        blows = _blows(contacts, rate, blow.impulse, blow.effective_mass, slow)
        self._flight_hint = None
        yield Strike(self.time, before, after, tally_before, self.tally, blows)

    # -- sustained contact -----------------------------------------------------------------------

    def _press(self) -> Iterator[Frame]:
        """Take one step with contacts that last."""
        dt = self._contact_duration()
        for _ in range(40):
            pose, step, contacts, force = self._contact_trial(dt)
            sooner = self._sooner(contacts, step, dt)
            if sooner is None:
                break
            dt = sooner
        self._accept(pose, step, contacts, force, dt)
        if self.time - self._last_frame >= self.settings.frame_spacing:
            yield self._frame(touching=True)

    def _contact_duration(self) -> float:
        """Step [s]: small turns, and small displacement by the present acceleration."""
        spin = float(np.max(np.linalg.norm(self.state.spin, axis=1), initial=0.0))
        acceleration = self._acceleration()
        dt = min(self.settings.contact_step, (2e-4 / acceleration) ** 0.5)
        if spin > 0:
            dt = min(dt, 0.02 / spin)
        return min(dt, max(self.end - self.time, 1e-9))

    def _contact_trial(self, dt: float) -> tuple[Pose, ContactStep, ContactSet, Array]:
        """Solve one step of `dt`; returns the midpoint pose, the step, contacts and forces."""
        state = self.state
        middle = drift(state.pose, state.velocity, state.spin, dt / 2)
        force, torque = self.loads(middle)
        weight = np.where(self.bodies.free, self.bodies.mass, 0.0)[:, None] * self.gravity
        speed = self._rim_speeds(state).max(initial=0.0) + dt * self._acceleration()
        contacts = self.geometry.contacts(middle, self.settings.touch + dt * speed)
        friction = [self.surfaces.pair(int(a), int(b)).friction for a, b in contacts.pair]
        step = contact_step(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(middle.quaternion),
            middle.position,
            state.velocity,
            state.spin,
            force + weight,
            torque,
            dt,
            contacts.pair,
            contacts.point,
            contacts.normal,
            2 * contacts.gap,
            np.array(friction),
        )
        return middle, step, contacts, force

    def _sooner(self, contacts: ContactSet, step: ContactStep, dt: float) -> float | None:
        """A shorter step that ends where a fast contact closes; None where none does."""
        if not len(contacts.gap) or dt < 1e-8:
            return None
        rate = separation_rates(self.state, contacts)
        pushed = np.einsum("ci,ci->c", step.impulse, contacts.normal) > 0
        gap_now = contacts.gap - rate * dt / 2
        fast = pushed & (rate < -self._slow()) & (gap_now > self.settings.touch)
        if not np.any(fast):
            return None
        closing = float(np.min(gap_now[fast] / -rate[fast]))
        return float(np.clip(closing, 1e-3 * dt, 0.9 * dt))

    def _accept(
        self, middle: Pose, step: ContactStep, contacts: ContactSet, force: Array, dt: float
    ) -> None:
        """Move to the end of the step, push out what sank in, and book the works."""
        before = self.state
        pose = drift(middle, step.velocity, step.spin, dt / 2)
        pose = self._push_out(pose, 0.25 * self.settings.touch)
        self.state = State(pose, step.velocity, step.spin)
        self.time += dt
        self.steps += 1
        mean_v = 0.5 * (before.velocity + step.velocity)
        mean_w = 0.5 * (before.spin + step.spin)
        torque = self.loads(middle)[1]
        work = dt * float(np.sum(force * mean_v) + np.sum(torque * mean_w))
        self.tally = replace(
            self.tally,
            work=self.tally.work + work,
            friction_loss=self.tally.friction_loss - float(np.sum(step.friction_work)),
            contact_work=self.tally.contact_work + float(np.sum(step.normal_work)),
        )
        self._note_loads(force + contact_forces(contacts, step.impulse, dt, len(force)))
        speeds = np.maximum(self._rim_speeds(before), self._rim_speeds(self.state))
        held = np.zeros(len(force), dtype=bool)
        pushed = np.einsum("ci,ci->c", step.impulse, contacts.normal) > 0
        held[contacts.pair[pushed].ravel()] = True
        quiet = np.all((speeds < self.settings.rest) & held | ~self.bodies.free)
        self._still = self._still + 1 if quiet else 0

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
        speeds: Array = np.linalg.norm(state.velocity, axis=1) + self.bodies.reach * np.linalg.norm(
            state.spin, axis=1
        )
        return speeds


def separation_rates(state: State, contacts: ContactSet) -> Array:
    """Return d(gap)/dt at each contact (c,) [m/s]: negative where bodies close on each other."""
    a, b = contacts.pair[:, 0], contacts.pair[:, 1]
    position = state.pose.position
    speed_a = state.velocity[a] + np.cross(state.spin[a], contacts.point - position[a])
    speed_b = state.velocity[b] + np.cross(state.spin[b], contacts.point - position[b])
    rates: Array = np.einsum("ci,ci->c", contacts.normal, speed_a - speed_b)
    return rates


def contact_forces(contacts: ContactSet, impulse: Array, dt: float, count: int) -> Array:
    """Return the sustained contact force on each of `count` bodies (n, 3) [N]."""
    total = np.zeros((count, 3))
    np.add.at(total, contacts.pair[:, 0], impulse / dt)
    np.add.at(total, contacts.pair[:, 1], -impulse / dt)
    return total


def _blows(
    contacts: ContactSet, rate: Array, impulse: Array, effective_mass: Array, slow: float
) -> tuple[PairBlow, ...]:
    """Gather contact points into one blow a pair; pairs that closed slower than `slow` are left."""
    found = []
    for pair in np.unique(contacts.pair, axis=0):
        mine = np.flatnonzero(np.all(contacts.pair == pair, axis=1))
        push = np.einsum("ci,ci->c", impulse[mine], contacts.normal[mine])
        if -rate[mine].min() < slow or push.sum() <= 0:
            continue
        share = push / push.sum()
        worst = mine[np.argmin(rate[mine])]
        found.append(
            PairBlow(
                pair,
                share @ contacts.point[mine],
                contacts.normal[worst],
                float(-rate[worst]),
                float(effective_mass[worst]),
                impulse[mine].sum(axis=0),
            )
        )
    return tuple(found)
