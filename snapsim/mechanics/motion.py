"""The motion of rigid bodies from release to rest: flight, strikes and sustained contact in turn.

Flight (`flight`) is integrated with error control until a gap closes; the time of contact is
located on the dense output. A strike (`impact`) changes velocities at a fixed pose. While slow
contacts last, the motion goes by the steps of `contact_stepping`. Applied forces come in as a
function of the pose; nothing here knows what they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import ConvexHull

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.contact_stepping import ContactStepping, separation_rates
from snapsim.mechanics.ending import Ending, EndReason, ended
from snapsim.mechanics.flight import Flight
from snapsim.mechanics.impact import Blow, resolve_impact
from snapsim.mechanics.joints.contract import perpendiculars
from snapsim.mechanics.lasting_contacts import pushes
from snapsim.mechanics.position_correction import clusters
from snapsim.mechanics.records import End, Frame, PairBlow, Strike, Tally
from snapsim.mechanics.rigid_bodies import RigidBodies, drift, farthest
from snapsim.mechanics.sustained_contact import contact_step
from snapsim.parts.states import Pose, State

Item = Frame | Strike | End

_EIGHTHS = np.arange(9) / 8
"""Shares of a step at which contact is looked for."""

WATCHED: Final = 500
"""Turns of the loop in which a motion must gain time: a heap's worst cascade of blows at one moment
takes some tens."""

LEAST_GAIN: Final = 1e-9
"""Time [s] that it must gain in them."""

LANDING_TIME = 1e-12
"""Length given to a blow without rebound [s]: too short for a free spin to turn anything."""


class Motion(ContactStepping):
    """One motion; iterate `run()` to its end. Not shared between threads."""

    _flight_hint: float | None = None
    _turns: int = 0
    _watched: tuple[int, float] = 0, 0.0  # turns and time [s] when progress was last looked at
    _measured: tuple[Pose, Array] | None = None

    def run(self) -> Iterator[Item]:
        """Yield frames and strikes in order of time, then one End."""
        self._stage = self._stage_radius()
        yield self._frame(touching=False)
        ending: Ending | None = None
        touching = False
        while ending is None:
            if self._stands_still():
                ending = ended(EndReason.NO_PROGRESS, WATCHED)
                break
            yield from self._prepare()
            contacts = self._nearby()
            if len(contacts):
                rate, slow = self._near[1].min(), self._slow()
                if rate < -slow:
                    yield from self._strike(contacts, slow)
                    ending = self._ending()
                    continue
                if rate < -self.settings.landing and self._lands(contacts):
                    self._land(contacts)
                    continue
                touching = bool(rate <= slow)
            else:
                touching = False
            yield from self._press() if touching else self._fly()
            ending = self._ending()
        yield self._frame(touching=touching)
        yield self._end(ending)

    def _prepare(self) -> Iterator[Item]:
        """What happens before contacts are looked at; without joints, nothing."""
        return iter(())

    def broken_off(self, reason: EndReason) -> End:
        """Return the end of a motion that is not followed further, with what was borne so far."""
        return self._end(ended(reason))

    def _end(self, ending: Ending) -> End:
        return End(self.time, ending, self.borne, self.steps)

    # -- ends ------------------------------------------------------------------------------------

    def _ending(self) -> Ending | None:
        if self._still >= self.settings.rest_steps:
            return ended(EndReason.AT_REST)
        if not self.bodies.free.any():
            return ended(EndReason.NOTHING_FREE)
        if self.time >= self.end:
            return ended(EndReason.TIME_UP, self.end)
        if farthest(self.state.pose.position, self._stage[0], self.bodies.free) > self._stage[1]:
            return ended(EndReason.LEFT_SCENE, self._stage[1])
        if self.steps >= self.settings.limit:
            return ended(EndReason.STEP_LIMIT, self.settings.limit)
        if not np.isfinite(self.state.velocity).all():
            return ended(EndReason.NOT_FINITE)
        return None

    def _stands_still(self) -> bool:
        """Whether the last `WATCHED` turns of the loop gained next to no time."""
        self._turns += 1
        count, since = self._watched
        if self._turns - count < WATCHED:
            return False
        self._watched = self._turns, self.time
        return self.time - since < LEAST_GAIN

    def _stage_radius(self) -> tuple[Array, float]:
        position = self.state.pose.position
        centre = position.mean(axis=0)
        spread = np.linalg.norm(position - centre, axis=1) + self.bodies.reach
        return centre, 5.0 + 5.0 * float(spread.max())

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
        now = self._gaps(pose)
        if not len(now):
            return self.settings.flight_step
        soon = self.geometry.gaps(drift(pose, self.state.velocity, self.state.spin, probe))
        rate = (soon - now) / probe
        slack = np.maximum(now, 0) + np.maximum(1e-5, 0.01 * np.maximum(now, 0))
        root = np.sqrt(rate**2 + 2 * self._acceleration() * slack)
        times = 2 * slack / np.maximum(root - rate, 1e-300)
        return float(min(self.settings.flight_step, max(times.min(), 1e-7)))

    def _gaps(self, pose: Pose) -> Array:
        """Gap of every pair (p,) [m]; what was asked last is known."""
        if self._measured is None or self._measured[0] is not pose:
            self._measured = pose, self.geometry.gaps(pose)
        return self._measured[1]

    def _closest(self, flight: Flight, time: float) -> float:
        return float(self._gaps(flight.at(time)[0].pose).min(initial=np.inf))

    def _passes_clear(self, flight: Flight, begin: float, end: float) -> bool:
        """Whether nothing can touch in the last step.

        A gap closes no faster than the two bodies' rims move, taken at the step's ends and a
        quarter more; where both ends' gaps together are more than it closes so, it stays open.
        """
        first, last = flight.at(begin)[0], flight.at(end)[0]
        rim = np.maximum(self.bodies.rim_speeds(first), self.bodies.rim_speeds(last))
        before, after = self._gaps(first.pose), self._gaps(last.pose)
        least = np.minimum(before, after)
        closing = 1.25 * (end - begin) * rim[self.geometry.pairs].sum(axis=1)
        return bool(((before + after > closing) & (least > 0)).all())

    def _first_touch(self, flight: Flight, begin: float, end: float) -> float | None:
        """Time of the first contact in the last step [s], on its open side; None without one."""
        if self._passes_clear(flight, begin, end):
            return None
        times = begin + (end - begin) * _EIGHTHS
        poses = zip(times.tolist(), flight.poses(times), strict=True)
        clear: float | None = None
        for time, pose in poses:
            if not self.geometry.touches(pose):
                clear = time
            elif time > begin:
                return self._touch_between(flight, clear, begin, time)
        return None

    def _touch_between(
        self, flight: Flight, clear: float | None, begin: float, time: float
    ) -> float:
        """Time of the first contact before `time`, after the `clear` one or soon after `begin`."""
        if clear is None or self._closest(flight, clear) <= 0:  # a bound may stand above a zero
            clear = self._clear_moment(flight, begin if clear is None else clear, time)
            if clear is None:
                return begin + 0.5 * (time - begin) * 1e-3
        root: float = brentq(lambda t: self._closest(flight, t), clear, time, xtol=1e-13)
        back = 1e-11
        while root > clear and self._closest(flight, root) <= 0:
            root, back = max(clear, root - back), 4 * back
        return float(root)

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
        """Of each contact (c,): that of its closing speed.

        A contact that does not close yet, or slowly, has that of the fastest blow among those it
        touches, through free bodies: it may be struck through them. Where nothing rebounds faster
        than `slow` [m/s] all are zero.
        """
        pairs = [self.surfaces.pair(int(a), int(b)) for a, b in contacts.pair]
        label = clusters(contacts.pair, self.bodies.free)
        ends = contacts.pair
        island = label[np.where(self.bodies.free[ends[:, 0]], ends[:, 0], ends[:, 1])]
        found = [p.restitution_at(-r) for p, r in zip(pairs, rate.tolist(), strict=True)]
        bounce = np.array(found)
        rebound = -rate * bounce
        for own in set(island[rebound >= slow].tolist()):
            mine = island == own
            fastest = float(-rate[mine].min())
            for k in np.flatnonzero(mine & (rebound < slow)):
                bounce[k] = pairs[k].restitution_at(fastest)
            rebound[mine] = np.inf
        bounce[rebound < slow] = 0.0
        return bounce

    def _effective_mass(self, pair: IntArray, point: Array, normal: Array) -> float:
        return effective_mass(self.bodies, self.state, pair, point, normal)

    def _lands(self, contacts: ContactSet) -> bool:
        """Whether a contact closes that did not press in the last step.

        One that did closes along a bent surface by the step's error; that is no blow.
        """
        closing = self._near[1] < -self.settings.landing
        return bool((closing & ~self._lasting(contacts)).any())

    def _land(self, contacts: ContactSet) -> None:
        """Stop contacts that close too slowly to rebound: a blow of restitution zero."""
        still = np.zeros(self.state.velocity.shape)
        step = contact_step(
            self.bodies.inverse_mass,
            self.bodies.inverse_inertia_world(self.state.pose.quaternion),
            self.state.pose.position,
            self.state.velocity,
            self.state.spin,
            still,
            still,
            LANDING_TIME,
            contacts.pair,
            contacts.point,
            contacts.normal,
            np.zeros(len(contacts)),
            self._friction(contacts),
        )
        self._book_blow(State(self.state.pose, step.velocity, step.spin))

    def _book_blow(self, after: State) -> None:
        """Take the state after a blow and book the energy it cost."""
        energy = [float(self.bodies.kinetic_energies(s).sum()) for s in (self.state, after)]
        lost = energy[0] + self._driven - energy[1]
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
    every = pushes(impulse, contacts.normal)
    for a, b in sorted(set(map(tuple, contacts.pair.tolist()))):
        mine = np.flatnonzero((contacts.pair[:, 0] == a) & (contacts.pair[:, 1] == b))
        pair, push = contacts.pair[mine[0]], every[mine]
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
