"""Total energy of one body as a function of its pose, all other bodies kept where they are.

    U(q) = E_mag(q) - m g.x,      dU/dd = -(F, T),      H = symmetric part of d(dU/dd)/dd

q the body's place, x its centre of mass [m], m its mass [kg], g gravity (3,) [m/s^2], E_mag the
magnetic energy of all bodies [J] (`magnetics.model`, minimal over the magnetisation), d a change
(6,) of `place`: displacement [m] and rotation vector [rad], world axes; F [N] and T [N m] about the
centre of mass, magnetic and gravity together. E_mag is a minimum over the magnetisation, so its
gradient is the force at fixed magnetisation (envelope theorem); second derivatives are central
differences of that gradient: their symmetric part is the Hessian of U(exp(d) q) at d = 0.

Assumes what `magnetics.model` does: iron without hysteresis, so U is a function of the pose alone;
other free bodies are taken as held. Background: a uniform field [A/m] can be added for comparison
with closed forms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, ArrayLike
from snapsim.landscape.place import Place, metric, moved, with_one_at
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose
from snapsim.simulation.current_stages import refuse_other_currents
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.system import System
from snapsim.work.interrupts import checkpoint

TOLERANCE = 1e-10
"""Bound on the magnetic energy's error over the soft parts' energy: second differences need it."""

TURN_STEP = 2e-3
"""Angle [rad] of the difference step; lengths use the same times the radius of gyration."""


@dataclass(frozen=True)
class EnergyLevel:
    """The energy at one place: `energy` = `magnetic` + `gravity` [J], and `slope` (6,) = dU/dd [N,
    N m]; `force` (3,) [N] and `torque` (3,) [N m] on the body are the magnetic ones alone."""

    energy: float
    magnetic: float
    gravity: float
    slope: Array
    force: Array
    torque: Array
    converged: bool

    @property
    def load(self) -> Array:
        """Force and torque (6,) about the centre of mass, gravity included [N, N m]."""
        return -self.slope


class EnergyLandscape:
    """The energy of body number `body` of a system; `at` is a pure function of the place.

    `detail` and `meshes` choose the cells as in `MagneticModel` (default: the system's own detail).
    `radius` [m] is the body's mean radius of gyration, `mass` [kg]. Not shared between threads.
    Raises OverlapError where bodies start inside each other; unless `start_matters` the body's own
    place may be anywhere.
    """

    def __init__(
        self,
        system: System,
        body: int,
        detail: str | int | None = None,
        meshes: Mapping[int, CellMesh] | None = None,
        tolerance: float = TOLERANCE,
        background: ArrayLike = (0.0, 0.0, 0.0),
        start_matters: bool = True,
    ) -> None:
        refuse_overlaps(system, None if start_matters else body)
        refuse_other_currents(system)
        self.system, self.number, self.body = system, body, system.bodies[body]
        self.mass = self.body.mass
        self.radius = float(np.sqrt(np.trace(self.body.shape.gyration) / 3))
        self.detail = system.detail if detail is None else detail
        self.model = MagneticModel(
            system.bodies, self.detail, tolerance, background, meshes, system.recoil
        )
        self.evaluations = 0
        self._last: MagneticState | None = None

    @property
    def start(self) -> Place:
        """The body's place at release."""
        pose = self.system.start.pose
        return Place(pose.position[self.number], pose.quaternion[self.number])

    def pose(self, place: Place) -> Pose:
        """Return the pose of all bodies with this one at `place`."""
        return with_one_at(self.system.start.pose, self.number, place)

    def state(self, place: Place) -> MagneticState:
        """Return the whole magnetic state at `place`; a search may be broken off before."""
        checkpoint()
        found = self.model.evaluate(self.pose(place), self._last)
        self._last, self.evaluations = found, self.evaluations + 1
        return found

    def at(self, place: Place) -> EnergyLevel:
        """Return energy and slope at `place`."""
        found = self.state(place)
        weight = self.mass * self.system.gravity
        force, torque = found.force[self.number], found.torque[self.number]
        height = -float(weight @ place.position)
        slope = -np.concatenate([force + weight, torque])
        return EnergyLevel(
            found.energy + height, found.energy, height, slope, force, torque, found.converged
        )

    def felt(self, place: Place) -> Array:
        """Return the wrench (n, 6) [N, N m] on the body about its centre from each of the n bodies
        at `place`, magnetic, world axes."""
        pose = self.pose(place)
        found: Array = self.model.loads_between(pose, self.state(place))[self.number]
        return found

    def measure(self, place: Place) -> Array:
        """Return the matrix (6, 6) of |d|^2 of changes at `place` (`place.metric`)."""
        return metric(self.body, place)

    def moved(self, place: Place, change: Array) -> Place:
        """Return the place after a change (6,) [m, rad]."""
        return moved(place, change)

    def gone(self, place: Place, far: float) -> bool:
        """Whether the body is farther than `far` [m] from the middle of the scene."""
        middle = self.system.start.pose.position.mean(axis=0)
        return bool(np.linalg.norm(place.position - middle) > far)

    def hessian(self, place: Place, step: float = TURN_STEP) -> Array:
        """Return the second derivatives (6, 6) [N/m, N, N m] by central differences."""
        found = np.empty((6, 6))
        for k in range(6):
            h = step * self.radius if k < 3 else step
            d = np.zeros(6)
            d[k] = h
            found[k] = (self.at(moved(place, d)).slope - self.at(moved(place, -d)).slope) / (2 * h)
        return 0.5 * (found + found.T)
