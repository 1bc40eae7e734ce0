"""A slight knock to what came to rest: a part that only stands balanced is told apart by it.

A ball midway between two magnets, a block on its edge: symmetric to the last digit, such a part
is found at rest like any other, and no table shakes in a computer. Each free body gets `KNOCK` at
its centre and rim, in directions drawn by seed, and is followed for `FOLLOWED`, and where that
takes it elsewhere without an end, for `LONGER`. Not where a hand holds, or a joint has parted.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from snapsim.arrays import Array
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.joints import Hold
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Revolution
from snapsim.parts.states import Pose, State
from snapsim.run.release import release
from snapsim.run.run_log import Until
from snapsim.simulation.current_stages import StagedLoads, standing_at
from snapsim.simulation.overlap import OverlapError
from snapsim.simulation.reproducibility import WITHIN
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

KNOCK: Final = 5e-3
"""Speed [m/s] of centre and rim that a part at rest is knocked with, as by a step nearby (common
practice, no source)."""

FOLLOWED: Final = 0.5
"""Time [s] that is looked at after the knock; a pencil of 0.1 m falls in half of it."""

LONGER: Final = 2.0
"""Time [s] that is looked at where the part is elsewhere by then, and still moves."""


def bare(
    system: System,
    settings: MotionSettings | None,
    loads: StagedLoads,
    until: Until | None = None,
) -> Trajectory | None:
    """A run of which only the motion counts; None where bodies overlap at its start."""
    try:
        return release(
            system,
            settings=settings,
            until=until,
            estimates=False,
            frames=False,
            magnetisation=False,
            loads=loads,
        )
    except OverlapError:
        return None


def knocked(
    run: Trajectory,
    seed: int,
    settings: MotionSettings | None,
    loads: StagedLoads,
    until: Until | None = None,
) -> Trajectory | None:
    """What a knock does to a run that came to rest; None where it takes no part elsewhere.

    `until` says at which blow it may end. One that was interrupted is returned as it is.
    """
    system = run.system
    held = any(isinstance(joint, Hold) for joint in system.joints)
    parted = any(not math.isnan(load.parted) for load in run.loads.values())
    if run.outcome != "settled" or held or parted:
        return None
    now = replace(standing_at(system, float(run.time[-1])), start=_pushed(run, seed))
    more = bare(replace(now, duration=FOLLOWED), settings, loads, until)
    # the books of so little energy need not balance for a part to have gone elsewhere
    if more is None or more.reason == EndReason.OVERLAP:
        return None
    if more.reason != EndReason.INTERRUPTED and not elsewhere(run, more):
        return None
    if more.outcome == "moving" and more.reason == EndReason.TIME_UP:
        more = bare(replace(now, duration=LONGER), settings, loads, until) or more
    return more


def _pushed(run: Trajectory, seed: int) -> State:
    """Where a run ended, each free body knocked."""
    rng = np.random.default_rng((seed, 1))
    velocity, spin = np.zeros_like(run.velocity[-1]), np.zeros_like(run.spin[-1])
    for i, body in enumerate(run.system.bodies):
        if not body.fixed:
            velocity[i] = KNOCK * direction(rng)
            spin[i] = KNOCK / float(body.shape.extents.max()) * direction(rng)
    return State(Pose(run.position[-1], run.quaternion[-1]), velocity, spin)


def elsewhere(run: Trajectory, other: Trajectory) -> bool:
    """Return whether any body ends elsewhere in one of two runs, or otherwise turned."""
    for i, body in enumerate(run.system.bodies):
        away = float(np.linalg.norm(run.position[-1, i] - other.position[-1, i]))
        turn = angle(body, run.quaternion[-1:, i], other.quaternion[-1:, i])
        if away > WITHIN * float(body.shape.extents.max()) or turn[0] > WITHIN:
            return True
    return False


def direction(rng: np.random.Generator) -> Array:
    """A random vector (3,) of length 1."""
    found = rng.standard_normal(3)
    return np.asarray(found / np.linalg.norm(found))


def angle(body: Body, one: Array, other: Array) -> Array:
    """Angles (k,) [rad] between two turns (k, 4) of a body, as far as they can be seen."""
    kind = Revolution.NONE if body.is_magnet else body.shape.revolution
    if kind is Revolution.CENTRE:
        return np.zeros(len(one))
    first, second = (Rotation.from_quat(q, scalar_first=True) for q in (one, other))
    if kind is Revolution.AXIS:
        axes = first.apply((0.0, 0.0, 1.0)), second.apply((0.0, 0.0, 1.0))
        return np.asarray(np.linalg.norm(np.cross(*axes), axis=1))
    return np.asarray((second * first.inv()).magnitude())
