"""The result of a release: what moved, what was struck, and where the energy went."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from importlib import import_module
from typing import Any

import numpy as np

from snapsim.arrays import Array
from snapsim.extras import require_extra
from snapsim.mechanics.ending import Ending, EndReason, Outcome, Parting
from snapsim.numerics import rotations
from snapsim.simulation.body_motion import BodyMotion
from snapsim.simulation.frame_columns import frame_columns
from snapsim.simulation.html_table import html_table
from snapsim.simulation.reproducibility import Twins
from snapsim.simulation.system import System


@dataclass(frozen=True)
class Impact:
    """One blow. `normal` (3,) points from `against` into `body`; `point` (3,) in world axes.

    `body` is free, and of two free ones the one with more kinetic energy (in the world frame);
    `kinetic_energy` is its own just before; `effective_mass` is 1/(n W n) at the point;
    `peak_force` is a band [N] (`mechanics.peak_force`), nan where a modulus is not known. `area`
    [m^2] is what a face that lands on a face touches at once, 0 for edges and points. Where a
    magnet takes part, `edge_stress` is the band of the tensile stress at the rim of the contact
    [Pa] in the magnet that comes nearest to its `magnet_strength` [Pa], and `chipping` the least,
    typical and largest chance that the blow chips it; nan otherwise. `fastest` is
    the closing speed of the fastest point of the faces that met [m/s], nan where it is not known.
    Two bodies that touched are `struck_through` by others' blow: their closing speed is nil, and
    `effective_energy` is the work that compressed the contact. Where a slide `jammed`, friction
    compressed it, with or without a collision: the closing speed told is then that of a straight
    blow with as much work.
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
    area: float = 0.0
    edge_stress: tuple[float, float] = (math.nan, math.nan)
    magnet_strength: float = math.nan
    chipping: tuple[float, float, float] = (math.nan, math.nan, math.nan)
    fastest: float = math.nan
    struck_through: bool = False
    jammed: bool = False


@dataclass(frozen=True)
class Load:
    """Largest force met by a joint or a fixed body [N] and when [s], largest torque [N m], and both
    as they were at the end; blows and a body's own weight are not counted.

    A torque is about a joint's point, or a body's centre of mass. `parted` says when a joint parted
    [s], nan where it lasted, and `why`; `told` are the words of an older file that has no code.
    """

    peak_force: float
    peak_time: float
    peak_torque: float = math.nan
    torque_time: float = math.nan
    last_force: float = math.nan
    last_torque: float = math.nan
    parted: float = math.nan
    why: Parting | None = None
    told: str = ""


@dataclass(frozen=True)
class Audit:
    """The energy audit [J]: what was released, what was booked, and what is left over.

    In three parts. Field: `field_work`, the integral of magnetic force and torque along the motion,
    against the magnetic energy given up. Integrator: `kinetic_change` against `all_work`, that of
    the field, of weight and of hands less the booked losses. Events: `impact_loss` and
    `friction_loss`, and `event_gain`, the sum of energies that events gained (zero when restitution
    and friction only take away). `field_error`, `integrator_error` and `unaccounted` are the
    largest misfits at any stored frame; `unaccounted_fraction` is the last as a share of the
    energy released, or of what the loads do over the touching gap if that is more. `hold_work` is
    done by hands that carry a part. `supply_work` is what changes of coils' currents did to the
    magnetic energy at fixed poses; `magnetic_released` is without it. `correction_taken` and
    `correction_given` went out of the motion and into it where positions were corrected; both are
    in `field_work` as booked. `joule_heat` is what eddy currents turned into heat, `current_energy`
    what they end with.
    `deepest_overlap` [m] is the deepest that bodies lie in each other at a frame after the first.
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
    supply_work: float = 0.0
    field_work: float = math.nan
    all_work: float = math.nan
    correction_taken: float = math.nan
    correction_given: float = math.nan
    deepest_overlap: float = math.nan
    joule_heat: float = 0.0
    current_energy: float = 0.0


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


class Meshes(StrEnum):
    """What two meshes say of each other: the entry "meshes_code" of a run's accuracy."""

    ALIKE = "alike"
    NOT_COMPARED = "not_compared"
    """The coarse run stopped: "coarse_reason_code" and "coarse_reason_figure" say why."""
    SNAPS_DIFFER = "snaps_differ"
    """Other parts snap: "fine_snapping" and "coarse_snapping" name them."""
    FIRST_BLOW_DIFFERS = "first_blow_differs"
    """"fine_first_blow" and "coarse_first_blow" say who struck what."""
    UNRESOLVED_GAP = "unresolved_gap"
    """Alike, but soft parts came closer before the first blow than either mesh resolves, so that
    the two say too little of the error: no bars."""


@dataclass(frozen=True)
class Trajectory:
    """Stored frames k of n bodies, and what happened between them.

    `time` (k,) [s]; `position` (k, n, 3) [m]; `quaternion` (k, n, 4); `velocity` (k, n, 3) [m/s];
    `spin` (k, n, 3) [rad/s]; `force` (k, n, 3) [N] and `torque` (k, n, 3) [N m] are magnetic,
    about the centres of mass, world axes. `energy` maps "kinetic", "gravity", "magnetic" and
    "dissipated" to (k,) [J], `work` "field" and "hold": what the magnetic forces and what hands
    have done since the start (k,) [J]; where currents of coils change, "supply" too: what that did
    to the magnetic energy. `gap` (k,) is the smallest distance between a free body
    and any other magnet [m] (nan without one). `magnetisation` maps a soft body's name to (k,
    c, 3) [A/m] in body axes. `bearing` maps fixed bodies and joints, as `loads` does, to force
    [N] and torque [N m] borne at the frames (k, 2), those of the step before in flight. At an
    impact two frames share one time: just before and just after it. Where conductors brake,
    `energy` has their "joule_heat", which "dissipated" counts too, and what the "currents"
    store, and `currents` maps conductors to how much there is of each mode (k, m) [root joule]
    (`eddy_brake.modes_of`). `twins` says which figures repeat; None where that was not looked
    at.
    """

    system: System
    ending: Ending
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
    work: Mapping[str, Array] = field(default_factory=dict)
    bearing: Mapping[str, Array] = field(default_factory=dict)
    currents: Mapping[str, Array] = field(default_factory=dict)
    twins: Twins | None = None

    @property
    def outcome(self) -> Outcome:
        """Whether it came to rest, was moving at the end, was stopped, or is not to be trusted."""
        return self.ending.outcome

    @property
    def reason(self) -> EndReason:
        """Why it was followed no further, as a code; `words.endings` has it in words."""
        return self.ending.reason

    def __getitem__(self, name: str) -> BodyMotion:
        """Return the motion of the body called `name`; raises InputError."""
        i = self.system.number(name)
        return BodyMotion(
            name,
            self.time,
            self.position[:, i],
            self.quaternion[:, i],
            self.velocity[:, i],
            self.spin[:, i],
            self.force[:, i],
            self.torque[:, i],
            kinetic_energy(self, i),
        )

    def columns(self) -> dict[str, Array]:
        """Return the frames of all free bodies as columns (k,), units in their names."""
        free = [b.name for b in self.system.bodies if not b.fixed]
        return frame_columns(self.time, map(self.__getitem__, free), dict(self.energy))

    def to_dataframe(self) -> Any:
        """Return `columns` as a pandas DataFrame; raises InputError where pandas is missing."""
        return _library("pandas").DataFrame(self.columns())

    def to_xarray(self) -> Any:
        """Return the motion of all bodies as an xarray Dataset over time, body and axis, each
        variable with its unit; raises InputError where xarray is missing."""
        motions = [self[b.name] for b in self.system.bodies]
        axes = {"quaternion": ("time", "body", "part"), "kinetic_energy": ("time", "body")}
        named = {
            name: (
                axes.get(name, ("time", "body", "axis")),
                np.stack([getattr(m, name) for m in motions], axis=1),
                {"units": unit},
            )
            for name, unit in BodyMotion.UNITS.items()
            if name != "time"
        }
        energy = {f"energy_{k}": ("time", v, {"units": "J"}) for k, v in self.energy.items()}
        places = {
            "time": ("time", self.time, {"units": "s"}),
            "body": [m.name for m in motions],
            "axis": list("xyz"),
            "part": list("wxyz"),
        }
        return _library("xarray").Dataset(named | energy, places, {"title": self.system.title})

    def _repr_html_(self) -> str:
        """A short table for a notebook."""
        rows = [("ends", f"{self.outcome}, after {self.time[-1]:.4g} s")]
        for blow in self.impacts[:1]:
            rows.append(
                (
                    "first blow",
                    f"{blow.body} on {blow.against}: {blow.closing_speed:.3g} m/s,"
                    f" {blow.effective_energy:.3g} J after {blow.time:.4g} s",
                )
            )
        rows.append(("blows", str(len(self.impacts))))
        return html_table(self.system.title, rows)


def _library(name: str) -> Any:
    """Return an optional library; raises InputError that says how to install it."""
    require_extra("notebook", "a data frame", name)
    return import_module(name)


def kinetic_energy(t: Trajectory, body: int) -> Array:
    """Return the kinetic energy (k,) [J] of body number `body` at the stored frames.

    K = 1/2 m v.v + 1/2 w.I w with the spin w turned into body axes.
    """
    part = t.system.bodies[body]
    if part.fixed:
        return np.zeros(len(t.time))
    spin = rotations.rotate_back(t.quaternion[:, body], t.spin[:, body])
    linear: Array = 0.5 * part.mass * np.sum(t.velocity[:, body] ** 2, axis=1)
    turning: Array = 0.5 * np.einsum("ki,ij,kj->k", spin, part.inertia, spin)
    return linear + turning
