"""What a motion reports as it goes: frames, strikes and its end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.brake import Stirred
from snapsim.mechanics.ending import Ending, Outcome, Parting, Unsolved
from snapsim.numerics.compilation import compiled
from snapsim.parts.states import State


@dataclass(frozen=True)
class Tally:
    """Energies booked since the start [J].

    `work`: done by the applied force and torque (gravity not counted). `impact_loss`: taken by
    blows. `friction_loss`: taken by sliding under sustained contact. `contact_work`: done by the
    normal forces of sustained contact and by pushing bodies out of each other; zero but for the
    error of the time step. `event_gain`: the sum of all energies that events gained. `hold_work`:
    done on the bodies by hands that carry a part. `correction_taken`, `correction_given`: what
    correcting positions took from the motion and gave it (`position_correction`), sums of sizes.
    `heat`: what a brake has turned into heat (`brake`).
    """

    work: float = 0.0
    impact_loss: float = 0.0
    friction_loss: float = 0.0
    contact_work: float = 0.0
    event_gain: float = 0.0
    hold_work: float = 0.0
    correction_taken: float = 0.0
    correction_given: float = 0.0
    heat: float = 0.0


@dataclass(frozen=True)
class Frame:
    """The state at one time [s], in flight or in contact, and what a brake does then."""

    time: float
    state: State
    tally: Tally
    touching: bool
    stirred: Stirred | None = None


@dataclass(frozen=True)
class LoadChange:
    """At this frame the loads become those of the problem's `later` one."""

    frame: Frame


@dataclass(frozen=True)
class PairBlow:
    """One pair's share of a strike: body numbers `pair` (2,), contact `point` (3,) and `normal`
    (3,) from the second into the first body, `closing_speed` [m/s], `effective_mass` [kg],
    `impulse` (3,) on the first body [N s]; `area` [m^2] that the touching points of a face landing
    on a face span, 0 for an edge or a point; `stored` [J] the work that compressed the contact,
    at the most. A pair that was `struck_through` touched and did not close: others' blow went
    through it. Where a slide `jammed`, friction compressed the contact, and the closing speed is
    that of a straight blow which would compress it as much."""

    pair: IntArray
    point: Array
    normal: Array
    closing_speed: float
    effective_mass: float
    impulse: Array
    area: float = 0.0
    stored: float = 0.0
    struck_through: bool = False
    jammed: bool = False


@dataclass(frozen=True)
class Strike:
    """Bodies hit each other at `time`: states and tallies before and after, each pair's blow."""

    time: float
    before: State
    after: State
    tally_before: Tally
    tally_after: Tally
    blows: tuple[PairBlow, ...]
    stirred: Stirred | None = None


@dataclass(frozen=True)
class JointRecord:
    """What one joint bore: peak force [N] and torque about its point [N m] and their times [s],
    both at the end of the run, and when [s] and why it parted (nan and None if it lasted).
    Blows are not counted: they have an impulse, no force."""

    peak_force: float = 0.0
    peak_time: float = 0.0
    peak_torque: float = 0.0
    torque_time: float = 0.0
    last_force: float = 0.0
    last_torque: float = 0.0
    parted: float = float("nan")
    why: Parting | None = None


@dataclass(frozen=True)
class BodyLoads:
    """What each of n bodies bore: applied, sustained contact and joint forces together (weight and
    blows left out). Peak force [N] and torque about the centre of mass [N m], when [s], and both
    at the end of the run; all (n,)."""

    peak_force: Array
    peak_time: Array
    peak_torque: Array
    torque_time: Array
    last_force: Array
    last_torque: Array

    def noted(self, force: Array, torque: Array, time: float) -> BodyLoads:
        """Return the loads with `force` and `torque` (n, 3) met at `time`."""
        before = self.peak_force, self.peak_time, self.peak_torque, self.torque_time
        return BodyLoads(*_noted(*before, force, torque, time))


@compiled
def _noted(
    peak: Array,
    peak_time: Array,
    peak_torque: Array,
    torque_time: Array,
    force: Array,
    torque: Array,
    time: float,
) -> Array:
    """Return the fields of `BodyLoads` (6, n)."""
    found = np.empty((6, len(peak)))
    for n in range(len(peak)):
        one = np.sqrt(force[n, 0] ** 2 + force[n, 1] ** 2 + force[n, 2] ** 2)
        two = np.sqrt(torque[n, 0] ** 2 + torque[n, 1] ** 2 + torque[n, 2] ** 2)
        found[0, n], found[1, n] = peak[n], peak_time[n]
        found[2, n], found[3, n] = peak_torque[n], torque_time[n]
        if one > peak[n]:
            found[0, n], found[1, n] = one, time
        if two > peak_torque[n]:
            found[2, n], found[3, n] = two, time
        found[4, n], found[5, n] = one, two
    return found


def no_loads(count: int) -> BodyLoads:
    """Return the loads of `count` bodies that bore nothing yet."""
    return BodyLoads(*(np.zeros(count) for _ in range(6)))


@dataclass(frozen=True)
class End:
    """How the motion ended, what each body bore, one record a joint, and the largest `misfit` [m/s]
    of the laws of contact in any step; how many steps and blows were taken `unsolved`."""

    time: float
    ending: Ending
    loads: BodyLoads
    steps: int
    joints: tuple[JointRecord, ...] = ()
    misfit: float = 0.0
    unsolved: Mapping[Unsolved, int] = field(default_factory=dict)

    @property
    def outcome(self) -> Outcome:
        """What came of the motion."""
        return self.ending.outcome
