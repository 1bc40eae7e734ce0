"""Eddy currents in conductors that are not iron, as a brake on the motion.

A magnet that moves relative to a conductor drives its current modes (`magnetics.conductors`) by

    g . u = -(force on the conductor of unit current) . (velocities and spins)

and they act on both by J x B (`mechanics.brake`). The field is that of the magnets: what iron adds
to it, and what currents of one body induce in another, is left out. Both make the field of the
currents weaker here than it is, hence less drag with iron near; two conductors that shield each
other (one plate on another) brake too much above the speed at which a thin plate drags most,
2 / (mu0 sigma h), and rightly far below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.magnetics.conductors.layout import conductor_cells
from snapsim.magnetics.conductors.modes import CurrentModes, current_modes
from snapsim.magnetics.sources import MagnetSet, magnet_set, source_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose, State
from snapsim.simulation.conductors import braking_conductors

CELLS: Final = {"draft": 200, "normal": 400, "fine": 900}
"""Cells of a conductor. Drag of a dipole over a sheet of eight heights a side: 0.985 of that of an
endless one at normal."""

NEAR: Final = 0.5
"""Share of the distance from a magnet's middle to the nearest cell in which its field counts as
changing."""


@dataclass(frozen=True, eq=False)
class _Conductor:
    """A conducting body: its `number`, its modes, and the magnets that move relative to it."""

    number: int
    modes: CurrentModes
    magnets: tuple[int, ...]

    def grips(self, pose: Pose, sources: dict[int, MagnetSet], count: int) -> Array:
        """Return g (k, 6 count) of its modes."""
        own = self.number
        turn = rotations.matrix(pose.quaternion[own])
        points = self.modes.points.reshape(-1, 3)
        world = points @ turn.T + pose.position[own]
        columns = []
        for i in self.magnets:
            at = slice(i, i + 1)
            field, _ = sources[i].field_and_gradient(pose.position[at], pose.quaternion[at], world)
            columns.append(field_loads(self.modes, MU_0 * field @ turn))
        found = np.zeros((len(self.modes.time), count, 6))
        loads = self.modes.density @ np.concatenate(columns, axis=1)
        for i, load in zip(self.magnets, np.split(loads, len(self.magnets), axis=1), strict=True):
            force, torque = load[:, :3] @ turn.T, load[:, 3:] @ turn.T
            found[:, own, :3] += force
            found[:, own, 3:] += torque
            arm = pose.position[own] - pose.position[i]
            found[:, i, :3] -= force
            found[:, i, 3:] -= torque + np.cross(arm, force)
        return found.reshape(len(found), -1)


def field_loads(modes: CurrentModes, field: Array) -> Array:
    """Return force and torque about the centre (3 c, 6) of unit densities in the cells, in a field
    B (c q, 3) [T] at their points, body axes."""
    cells = modes.cells
    weighed = modes.weights[..., None] * field.reshape(modes.points.shape)
    sum_, arm = weighed.sum(axis=1), np.einsum("cqi,cqj->cij", modes.points, weighed)
    found = np.zeros((cells, 3, 6))
    for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):  # force a of J_b B_c - J_c B_b
        found[:, b, a], found[:, c, a] = sum_[:, c], -sum_[:, b]
    # r x (J x B) = J (r.B) - B (r.J)
    found[:, :, 3:] = -arm
    found[:, [0, 1, 2], [3, 4, 5]] += np.trace(arm, axis1=1, axis2=2)[:, None]
    return found.reshape(3 * cells, 6)


@dataclass(eq=False)
class EddyBrake:
    """The conductors of a system as one brake; remembers what it found at the last few poses."""

    count: int
    conductors: tuple[_Conductor, ...]
    sources: dict[int, MagnetSet]
    evaluations: int = 0
    _recent: dict[bytes, Array] = field(default_factory=dict)

    MEMORY = 8

    @cached_property
    def _order(self) -> IntArray:
        return np.argsort(-self._times, kind="stable")

    @cached_property
    def _times(self) -> Array:
        return np.concatenate([c.modes.time for c in self.conductors])

    @cached_property
    def time(self) -> Array:
        """Relaxation times (k,) [s] of all modes, the slowest first."""
        found: Array = self._times[self._order]
        return found

    def grips(self, pose: Pose) -> Array:
        """Return force and torque (k, 6 n) [N, N m] on all bodies per root joule of each mode."""
        key = pose.position.tobytes() + pose.quaternion.tobytes()
        known = self._recent.get(key)
        if known is not None:
            return known
        self.evaluations += 1
        parts = [c.grips(pose, self.sources, self.count) for c in self.conductors]
        found: Array = np.concatenate(parts)[self._order]
        while len(self._recent) >= self.MEMORY:
            del self._recent[next(iter(self._recent))]
        self._recent[key] = found
        return found

    def parted(self, amplitudes: Array) -> dict[int, Array]:
        """Return each conductor's part, by its number, of amplitudes (..., k) of all modes."""
        own = np.empty_like(amplitudes)
        own[..., self._order] = amplitudes
        ends = np.cumsum([len(c.modes.time) for c in self.conductors])[:-1]
        parts = np.split(own, ends, axis=-1)
        return {c.number: part for c, part in zip(self.conductors, parts, strict=True)}

    def quickness(self, state: State) -> float:
        """Return how fast what drives the currents may change [1/s]."""
        return max(
            self._quickness(state, conductor, i)
            for conductor in self.conductors
            for i in conductor.magnets
        )

    def _quickness(self, state: State, conductor: _Conductor, magnet: int) -> float:
        own, pose = conductor.number, state.pose
        away = pose.position[magnet] - pose.position[own]
        seen = rotations.rotate_back(pose.quaternion[own], away)
        points = conductor.modes.points[:, 0]
        near = NEAR * float(np.sqrt(((points - seen) ** 2).sum(axis=1).min()))
        passing = state.velocity[magnet] - state.velocity[own] - np.cross(state.spin[own], away)
        turning = np.linalg.norm(state.spin[magnet] - state.spin[own])
        return float(np.linalg.norm(passing) / near + turning)


def eddy_brake(bodies: Sequence[Body], detail: str) -> EddyBrake | None:
    """Return the brake that a system's conductors are; None where no magnet moves by one."""
    found = [
        _Conductor(i, modes_of(bodies[i], detail), near)
        for i, near in braking_conductors(bodies).items()
    ]
    if not found:
        return None
    acting = sorted({m for c in found for m in c.magnets})
    sources = {m: magnet_set([source_of(bodies[m])], [bodies[m].magnetisation]) for m in acting}
    return EddyBrake(len(bodies), tuple(found), sources)


def modes_of(body: Body, detail: str) -> CurrentModes:
    """Return the current modes of a body, kept from run to run."""
    return _modes(body.shape, body.material.conductivity or 0.0, detail)  # type: ignore[arg-type]


@lru_cache(maxsize=8)
def _modes(shape: Shape, conductivity: float, detail: str) -> CurrentModes:
    return current_modes(conductor_cells(shape, CELLS[detail]), conductivity)
