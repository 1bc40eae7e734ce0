"""What a motion has borne, worked and lost so far: the one thing in it that is written to."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.brake import Stirred
from snapsim.mechanics.ending import Parting, Unsolved
from snapsim.mechanics.records import BodyLoads, Frame, JointRecord, Tally, no_loads
from snapsim.parts.states import State


@dataclass
class Books:
    """Of a motion of `bodies` and `joint_count` joints: the time reached [s], energies, loads and
    steps; `last_frame` is the time of the last frame given out; `misfit` [m/s] the largest by which
    a step missed the laws of contact; `unsolved` how many steps and blows were taken without what;
    `stirred` what a brake does now."""

    bodies: int
    joint_count: int
    time: float = 0.0
    tally: Tally = field(default_factory=Tally)
    steps: int = 0
    last_frame: float = 0.0
    misfit: float = 0.0
    unsolved: dict[Unsolved, int] = field(default_factory=dict)
    stirred: Stirred | None = None
    borne: BodyLoads = field(init=False)
    joints: list[JointRecord] = field(init=False)

    def __post_init__(self) -> None:
        self.borne = no_loads(self.bodies)
        self.joints = [JointRecord() for _ in range(self.joint_count)]

    def frame(self, state: State, touching: bool) -> Frame:
        """Return the present frame."""
        self.last_frame = self.time
        return Frame(self.time, state, self.tally, touching, self.stirred)

    def stir(self, stirred: Stirred | None, heat: float = 0.0) -> None:
        """Note what a brake does now, and heat [J] that it made; stored energy that the next phase
        does not count is heat."""
        self.stirred = stirred
        self.tally = replace(self.tally, heat=self.tally.heat + heat)

    def take_unsolved(self, what: Unsolved) -> None:
        """Note that a step or a blow is taken without what it should have."""
        self.unsolved[what] = self.unsolved.get(what, 0) + 1

    def bear(self, force: Array, torque: Array) -> None:
        """Note what acts on each body (n, 3) [N, N m] now."""
        self.borne = self.borne.noted(force, torque, self.time)

    def bear_joint(self, number: int, force: Array, torque: Array) -> None:
        """Note what acts on a joint (3,) [N, N m] now."""
        one, two = float(np.linalg.norm(force)), float(np.linalg.norm(torque))
        old = self.joints[number]
        new = replace(old, last_force=one, last_torque=two)
        if one > old.peak_force:
            new = replace(new, peak_force=one, peak_time=self.time)
        if two > old.peak_torque:
            new = replace(new, peak_torque=two, torque_time=self.time)
        self.joints[number] = new

    def part_joint(self, number: int, why: Parting) -> None:
        """Note that a joint parts now."""
        record = replace(self.joints[number], last_force=0.0, last_torque=0.0)
        self.joints[number] = replace(record, parted=self.time, why=why)

    def blow(self, before: float, driven: float, after: float) -> None:
        """Book a blow between the kinetic energies `before` and `after` [J], and the work that what
        drives a clamp did in it."""
        lost = before + driven - after
        self.tally = replace(
            self.tally,
            impact_loss=self.tally.impact_loss + lost,
            event_gain=self.tally.event_gain + max(0.0, -lost),
            hold_work=self.tally.hold_work + driven,
        )
        self.steps += 1

    def bearing(self) -> Array:
        """Return what each body, then each joint, bears now (n + j, 2) [N, N m]; blows left out."""
        bodies = np.stack([self.borne.last_force, self.borne.last_torque], axis=1)
        if not self.joints:
            return bodies
        joints = [(r.last_force, r.last_torque) for r in self.joints]
        return np.concatenate([bodies, np.array(joints)])
