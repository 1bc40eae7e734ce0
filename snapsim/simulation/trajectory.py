"""The result of a release: what moved, what was struck, and where the energy went."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from snapsim.arrays import Array
from snapsim.simulation.system import System

Outcome = Literal["settled", "moving", "stopped"]


@dataclass(frozen=True)
class Impact:
    """One blow. `normal` (3,) points from `against` into `body`; `point` (3,) in world axes.

    `kinetic_energy` is the moving body's just before; `effective_mass` is 1/(n W n) at the point;
    `peak_force` is a band (yield-limited, elastic) [N], nan where a modulus is not known.
    """

    time: float
    body: str
    against: str
    point: Array
    normal: Array
    closing_speed: float
    kinetic_energy: float
    effective_mass: float
    effective_energy: float
    impulse: float
    peak_force: tuple[float, float]


@dataclass(frozen=True)
class Load:
    """Largest force met by a joint or a fixed body [N], and when [s]; blows are not counted.

    For a joint also the largest torque about its point [N m], both as they were at the end, and
    when it parted [s]; nan where there is nothing to say.
    """

    peak_force: float
    peak_time: float
    peak_torque: float = math.nan
    last_force: float = math.nan
    last_torque: float = math.nan
    parted: float = math.nan


@dataclass(frozen=True)
class Audit:
    """The energy audit [J]; see design of the run: released, booked losses and what is left over.

    `field_error` is |work of the magnetic force + change of magnetic energy|, `integrator_error`
    |change of kinetic energy - all work done|, `event_gain` the sum of energies that events gained
    (always zero when restitution and friction only take away), `hold_work` done by hands that
    carry a part.
    """

    magnetic_released: float
    gravity_released: float
    kinetic_change: float
    impact_loss: float
    friction_loss: float
    unaccounted: float
    unaccounted_fraction: float
    field_error: float
    integrator_error: float
    event_gain: float
    hold_work: float = 0.0


@dataclass(frozen=True)
class Cost:
    """What the run took."""

    field_evaluations: int
    steps: int
    wall: float


@dataclass(frozen=True)
class Cells:
    """Cells of one soft body in body axes: `position` (c, 3) [m], `volume` (c,) [m^3]."""

    position: Array
    volume: Array


@dataclass(frozen=True)
class Trajectory:
    """Stored frames k of n bodies, and what happened between them.

    `time` (k,) [s]; `position` (k, n, 3) [m]; `quaternion` (k, n, 4); `velocity` (k, n, 3) [m/s];
    `spin` (k, n, 3) [rad/s]; `force` (k, n, 3) [N] and `torque` (k, n, 3) [N m] are magnetic,
    about the centres of mass, world axes. `energy` maps "kinetic", "gravity", "magnetic" and
    "dissipated" to (k,) [J]. `gap` (k,) is the smallest distance between a free body and any other
    magnet [m] (nan without one). `magnetisation` maps a soft body's name to (k, c, 3) [A/m] in
    body axes. At an impact two frames share one time: just before and just after it.
    """

    system: System
    outcome: Outcome
    reason: str
    time: Array
    position: Array
    quaternion: Array
    velocity: Array
    spin: Array
    force: Array
    torque: Array
    energy: Mapping[str, Array]
    gap: Array
    cells: Mapping[str, Cells]
    magnetisation: Mapping[str, Array]
    impacts: tuple[Impact, ...]
    loads: Mapping[str, Load]
    audit: Audit
    cost: Cost
    accuracy: Mapping[str, float | str]
