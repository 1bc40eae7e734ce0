"""A rehearsal: the motion runs while a hand holds one part and is moved by somebody who looks on.

The one motion (`mechanics.motion`) in slices of time. In each the hand (`mechanics.hand_spring`)
wants the part at one place, which follows what is asked for no faster than hands do. What was
rehearsed is a `Trajectory` like any other, the hand a hold among its joints, with its force and its
work; joints of the scene that carried the part until it was let go are left out.
"""

from __future__ import annotations

import time as clock
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.ending import EndReason, Parting, ended
from snapsim.mechanics.hand_spring import (
    STRETCH,
    STRUCK,
    HandSlice,
    HandSpring,
    hand_slice,
    hand_spring,
)
from snapsim.mechanics.motion import Motion
from snapsim.mechanics.motion_problem import LoadFunction
from snapsim.mechanics.records import End, Frame, JointRecord, Strike, Tally
from snapsim.mechanics.rigid_bodies import rigid_bodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State
from snapsim.run.fate import attracting
from snapsim.run.release import motion_problem, shared_loads, stage_brakes
from snapsim.run.run_log import RunLog
from snapsim.run.steps import steps_of
from snapsim.simulation.current_stages import standing_at
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory

SLICE: Final = 1 / 60
"""Time [s] for which the hand stays at one place, at the most."""

HAND_SPEED: Final = 1.0
"""The fastest [m/s] that the hand goes to where it is wanted."""

HAND_SPIN: Final = 6.0
"""The fastest [rad/s] that it turns."""

KEPT: Final = 0.1
"""Time [s] between the places of the hand that a run keeps."""

LONGEST: Final = 120.0
"""The longest rehearsal [s]: its frames must fit into memory and be drawn."""

TOUCH: Final = 1e-5
"""Gap [m] at which a part is at the magnet."""

SHARES: Final = (0.0, 0.04, 0.08, 0.15, 0.25, 0.35, 0.5, 0.65, 0.8, 0.95)
"""Of the gap to the magnet, where the pull is looked at ahead."""


@dataclass(frozen=True)
class Ahead:
    """How much nearer to the magnet [m], straight along its pull, a part goes: `lifts` until the
    pull beats its weight, so that it rises when it is let go, `beats` until the pull beats the hand
    (its force, or how fast that can grow); nan where neither is seen up to the magnet. Zero is now.
    The pull is taken at the top of the cells' bar, and places on the near side of each step."""

    lifts: float
    beats: float


@dataclass(frozen=True)
class RehearsedMoment:
    """Where things are after a slice: `state`, `force` (3,) of the hand on the part [N], its size
    over what the hand has, `pull` (3,) of magnets on the part [N], blows of the slice."""

    time: float
    state: State
    held: bool
    force: Array
    used: float
    pull: Array
    blows: tuple[Impact, ...]


class Rehearsal:
    """One rehearsal of a system with a hand on body number `part`; `step` it, then take the
    `trajectory`. Currents of coils stay as at release. Not shared between threads."""

    def __init__(self, system: System, part: int, limit: float) -> None:
        refuse_overlaps(system)
        self.began = clock.perf_counter()
        self.system = standing_at(_freed(system, part), 0.0)
        self.part, self.limit = part, limit
        settings = steps_of(self.system)
        staged = shared_loads(self.system, settings)
        self.loads = staged.of(0)
        self.settings = replace(settings, frame_spacing=SLICE)
        bodies, start = rigid_bodies(system.bodies), system.start
        geometry = ContactGeometry(system.bodies, system.surfaces)
        brakes = stage_brakes(self.system, staged)
        given = bodies, geometry, staged, self.settings
        self.problem = motion_problem(self.system, *given, brakes)
        self.geometry, self.slice = geometry, SLICE
        self.held, self.parted = True, np.nan
        self.why: Parting | None = None
        self.wanted = start.pose.position[part], start.pose.quaternion[part]
        self.places = [(0.0, *self.wanted)]
        self.state, self.time, self.end = start, 0.0, False
        self.spring = self._grip()
        self.hand_work, self._row, self._record = 0.0, np.zeros((1, 2)), JointRecord()
        self._over: End | None = None
        self._last: Array | None = None
        self.motion: Motion | None = None
        self.log = RunLog(
            self.system,
            bodies,
            staged,
            geometry,
            self._bearing,
            self.settings,
            False,
            True,
            brakes[0],
        )

    @property
    def weight(self) -> float:
        """The part's weight [N]."""
        return float(np.linalg.norm(self.problem.weight[self.part]))

    @property
    def lost(self) -> bool:
        """Whether the part was torn from the hand."""
        return self.why is Parting.TORN_AWAY

    def hold_again(self) -> None:
        """Grip the part where it is."""
        pose = self.state.pose
        self.held, self.why, self.parted = True, None, np.nan
        self.wanted = pose.position[self.part].copy(), pose.quaternion[self.part].copy()
        self.spring = self._grip()

    def _grip(self) -> HandSpring:
        """A hand that bears what acts on the part as it stands, what it lies on left out."""
        i, bodies = self.part, self.problem.bodies
        force, torque = self.loads.contact(self.state.pose)
        borne = force[i] + self.problem.weight[i], torque[i]
        return hand_spring(self.limit, float(bodies.mass[i]), bodies.inertia[i], borne, SLICE)

    def let_go(self, why: Parting = Parting.TIME_UP) -> None:
        """Open the hand."""
        if self.held:
            self.held, self.why, self.parted = False, why, self.time

    def step(self, asked: tuple[Array, Array] | None) -> RehearsedMoment:
        """Go on by one slice, the hand on its way to the place (position (3,), quaternion (4,))
        that is `asked` for, or staying where it is."""
        if asked is not None and self.held:
            self.wanted = _toward(self.wanted, asked, self.slice)
        hand = self._hand()
        if self._rests(hand):
            return self._moment(hand, ())
        later = replace(self.problem, loads=self._loads(hand, False), duration=self._until)
        later = replace(later, contact_loads=self._loads(hand, True))
        if self.motion is None:
            self.motion = Motion(later)
        else:
            self.motion.goes_on(later, self.time)
        blows, work = self._followed(hand)
        self.hand_work = work
        return self._moment(hand, blows)

    def _rests(self, hand: HandSlice | None) -> bool:
        """Whether all is at rest and the hand as it was: then only time goes on."""
        before = self._last
        self._last = None if hand is None else np.append(hand.position, hand.quaternion)
        if self._over is None or not rests(self._over):
            return False
        if (before is None) != (self._last is None):
            return False
        if before is not None and not np.array_equal(before, np.asarray(self._last)):
            return False
        self.time = self._until
        self.end = self.time >= LONGEST
        return True

    @property
    def _until(self) -> float:
        return self.time + self.slice

    def _hand(self) -> HandSlice | None:
        if not self.held:
            return None
        i, state = self.part, self.state
        moving = state.velocity[i], state.spin[i]
        return hand_slice(self.spring, i, self.wanted, moving, state.pose)

    def _loads(self, hand: HandSlice | None, contact: bool) -> LoadFunction:
        field = self.loads.contact if contact else self.loads.flight
        if hand is None:
            return field

        def both(pose: Pose) -> tuple[Array, Array]:
            force, torque = field(pose)
            push, twist = hand.wrench(pose)
            force, torque = force.copy(), torque.copy()
            force[hand.body] += push
            torque[hand.body] += twist
            return force, torque

        return both

    def _followed(self, hand: HandSlice | None) -> tuple[tuple[Impact, ...], float]:
        """Run the slice into the log; the blows met, and what the hand has done by its end."""
        assert self.motion is not None
        before, work, impacts = self.hand_work, self.hand_work, len(self.log.impacts)

        def booked(tally: Tally, pose: Pose) -> Tally:
            nonlocal work
            work = before + (0.0 if hand is None else hand.work(pose))
            return replace(tally, work=tally.work - work, hold_work=tally.hold_work + work)

        for item in self.motion.run():
            if isinstance(item, Frame):
                self._reach(item.state, hand, item.time)
                self.log.take(replace(item, tally=booked(item.tally, item.state.pose)))
            elif isinstance(item, Strike):
                first = booked(item.tally_before, item.before.pose)
                last = booked(item.tally_after, item.after.pose)
                self.log.take(replace(item, tally_before=first, tally_after=last))
            elif isinstance(item, End):
                self._ended(item)
        return tuple(self.log.impacts[impacts:]), work

    def _reach(self, state: State, hand: HandSlice | None, time: float) -> None:
        self.state = state
        if hand is None:
            self._row = np.zeros((1, 2))
            return
        force, torque = (float(np.linalg.norm(v)) for v in hand.wrench(state.pose))
        self._row = np.array([[force, torque]])
        old = self._record
        new = replace(old, last_force=force, last_torque=torque)
        if force > old.peak_force:
            new = replace(new, peak_force=force, peak_time=time)
        if torque > old.peak_torque:
            new = replace(new, peak_torque=torque, torque_time=time)
        self._record = new

    def _ended(self, end: End) -> None:
        """Take the end of a slice: time that is up, or a rest, goes on."""
        self._over = end
        if end.ending.reason is EndReason.TIME_UP or rests(end):
            self.time = self._until
            self.end = self.time >= LONGEST
        else:
            self.time, self.end = end.time, True

    def _moment(self, hand: HandSlice | None, blows: tuple[Impact, ...]) -> RehearsedMoment:
        pose, i = self.state.pose, self.part
        force = np.zeros(3) if hand is None else hand.wrench(pose)[0]
        pull = self.loads.contact(pose)[0][i]
        used = float(np.linalg.norm(force)) / self.limit
        moment = RehearsedMoment(self.time, self.state, self.held, force, used, pull, blows)
        if hand is not None and (hand.stretch(pose) > STRETCH or self._struck(blows)):
            self.let_go(Parting.TORN_AWAY)
        if self.held and self.time - self.places[-1][0] >= KEPT:
            self.places.append((self.time, *self.wanted))
        return moment

    def _struck(self, blows: tuple[Impact, ...]) -> bool:
        """Whether a blow on what attracts the part took it from the hand."""
        name, there = self.system.bodies[self.part].name, attracting(self.system, self.part)
        met = [b for b in blows if name in (b.body, b.against) and there & {b.body, b.against}]
        return any(b.closing_speed > STRUCK for b in met)

    def ahead(self, low_by: float) -> Ahead:
        """Look along the pull for where it beats the weight, and the hand; `low_by` is the share by
        which the cells may leave it too low."""
        pose, i = self.state.pose, self.part
        weight = self.problem.weight[i]
        pull = self.loads.contact(pose)[0][i]
        gaps = self.geometry.gaps(pose, self.log._snapping)
        gap = float(gaps.min()) if len(gaps) else np.nan
        size = float(np.linalg.norm(pull))
        if not size > 0:
            return Ahead(np.nan, np.nan)
        near = not gap > TOUCH  # nothing is nearer than at the magnet
        way, far = pull / size, np.zeros(1) if near else gap * np.array(SHARES)
        met = np.array([(1 + low_by) * self._pull_at(s * way) for s in far])
        rises = met @ -weight > weight @ weight
        needed = np.linalg.norm(met + weight, axis=1)
        grows = np.diff(np.linalg.norm(met, axis=1)) / np.diff(far) > self.spring.stiffness
        beaten = (needed > self.limit) | np.append(grows, False)
        return Ahead(_first(rises, far), _first(beaten, far))

    def _pull_at(self, shift: Array) -> Array:
        pose = self.state.pose
        position = pose.position.copy()
        position[self.part] += shift
        found: Array = self.loads.contact(Pose(position, pose.quaternion))[0][self.part]
        return found

    def _bearing(self) -> Array:
        assert self.motion is not None
        return np.concatenate([self.motion.bearing(), self._row])

    def trajectory(self, system: System) -> Trajectory:
        """Return the run that was rehearsed as one of `system`: the same with the hand as its last
        joint."""
        assert self._over is not None
        end = self._over.ending
        if end.reason is EndReason.TIME_UP:
            end = ended(EndReason.TIME_UP, self.time)
        record = replace(self._record, parted=self.parted, why=self.why)
        self.log.end = replace(
            self._over, time=self.time, ending=end, joints=(*self._over.joints, record)
        )
        self.log.system = system
        return self.log.trajectory(self.began)


def rests(end: End) -> bool:
    """Whether a slice ended since everything came to rest."""
    reason = end.ending.reason
    return reason is EndReason.AT_REST or reason is EndReason.AT_REST_HELD


def slice_at(pace: float) -> float:
    """Return the length of slices [s] at a pace (1: true speed): as many a second on the wall, but
    not shorter than an eighth."""
    return SLICE * max(min(pace, 1.0), 0.125)


def _freed(system: System, part: int) -> System:
    joints = tuple(j for j in system.joints if not (j.carries and part in j.bodies))
    return replace(system, detail="draft", joints=joints)


def _toward(
    wanted: tuple[Array, Array], asked: tuple[Array, Array], time: float
) -> tuple[Array, Array]:
    """Where the hand comes to from what it `wanted` on its way to what is asked, in a time [s]."""
    way, turn = asked[0] - wanted[0], rotations.vector_between(wanted[1], asked[1])
    far, wide = float(np.linalg.norm(way)), float(np.linalg.norm(turn))
    share = min(1.0, HAND_SPEED * time / far) if far > 0 else 0.0
    turned = min(1.0, HAND_SPIN * time / wide) if wide > 0 else 0.0
    quaternion = rotations.multiply(rotations.from_rotation_vector(turned * turn), wanted[1])
    return wanted[0] + share * way, rotations.normalise(quaternion)


def _first(there: Array, far: Array) -> float:
    """The distance of the last place before the first that is `there`; nan where none is."""
    found = np.flatnonzero(there)
    return float(far[max(int(found[0]) - 1, 0)]) if len(found) else np.nan
