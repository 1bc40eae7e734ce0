"""Eddy currents in conductors that are not iron, as a brake on the motion.

A magnet that moves relative to a conductor drives its current modes (`magnetics.conductors`) by

    g . u = -(force on the conductor of unit current) . (velocities and spins)

and they act on both by J x B (`mechanics.brake`). Fixed conductors near each other are one circuit
(`magnetics.conductors.joined`). The field is that of the magnets: what iron adds to it, and what
conductors that move relative to each other induce in each other, is left out (what that may be:
`unjoined_currents`). With iron near there is less drag here; two such conductors that shield each
other brake too much above the speed at which a thin plate drags most, 2 / (mu0 sigma h), and
rightly far below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.magnetics.conductors.joined import joined_modes
from snapsim.magnetics.conductors.layout import conductor_cells
from snapsim.magnetics.conductors.modes import CurrentModes, current_modes
from snapsim.magnetics.sources import MagnetSet, magnet_set, source_of
from snapsim.numerics import rotations
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose, State
from snapsim.simulation.conductors import braking_conductors, joined
from snapsim.simulation.system import System

CELLS: Final = {"draft": 200, "normal": 400, "fine": 900}
"""Cells of a conductor. Drag of a dipole over a sheet of eight heights a side: 0.985 of that of an
endless one at normal."""

TOGETHER: Final = 2
"""Conductors that may have so many cells each in one circuit; more of them share as many."""

NEAR: Final = 0.5
"""Share of the distance from a magnet's middle to the nearest cell in which its field counts as
changing."""


@dataclass(frozen=True, eq=False)
class Conductor:
    """A conducting body: its `number`, and its modes."""

    number: int
    modes: CurrentModes

    def grips(
        self, pose: Pose, sources: Mapping[int, MagnetSet], magnets: Sequence[int], count: int
    ) -> Array:
        """Return g (k, 6 count) of its modes by magnets that move relative to it."""
        own = self.number
        turn = rotations.matrix(pose.quaternion[own])
        points = self.modes.points.reshape(-1, 3)
        world = points @ turn.T + pose.position[own]
        columns, onto = [], np.zeros((len(magnets), 2, 3, count, 2, 3))
        for k, i in enumerate(magnets):
            at = slice(i, i + 1)
            field, _ = sources[i].field_and_gradient(pose.position[at], pose.quaternion[at], world)
            columns.append(field_loads(self.modes, MU_0 * field @ turn))
            onto[k, 0, :, own, 0] = onto[k, 1, :, own, 1] = turn.T
            onto[k, 0, :, i, 0] = onto[k, 1, :, i, 1] = -turn.T
            onto[k, 0, :, i, 1] = -turn.T @ _crossing(pose.position[own] - pose.position[i])
        loads = self.modes.density @ np.concatenate(columns, axis=1)
        found: Array = loads @ onto.reshape(6 * len(magnets), 6 * count)
        return found


def _crossing(arm: Array) -> Array:
    """The matrix (3, 3) by which a row v becomes arm x v."""
    x, y, z = arm
    return np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])


@dataclass(frozen=True, eq=False)
class _Circuit:
    """Conductors that keep their places to each other, the `magnets` that move relative to them,
    and the modes of them all; of one alone `shares` is None: they are its own."""

    conductors: tuple[Conductor, ...]
    magnets: tuple[int, ...]
    time: Array
    shares: tuple[Array, ...] | None

    def grips(self, pose: Pose, sources: Mapping[int, MagnetSet], count: int) -> Array:
        """Return g (k, 6 count) of its modes."""
        own = [c.grips(pose, sources, self.magnets, count) for c in self.conductors]
        if self.shares is None:
            return own[0]
        parts = [s.T @ g for s, g in zip(self.shares, own, strict=True)]
        return np.asarray(np.sum(parts, axis=0))

    def parted(self, amplitudes: Array) -> dict[int, Array]:
        """Return how much (..., m) of its own modes each conductor has, by its number."""
        if self.shares is None:
            return {self.conductors[0].number: amplitudes}
        pairs = zip(self.conductors, self.shares, strict=True)
        return {c.number: amplitudes @ share.T for c, share in pairs}


def field_loads(modes: CurrentModes, field: Array) -> Array:
    """Return force and torque about the centre (3 c, 6) of unit densities in the cells, in a field
    B (c q, 3) [T] at their points, body axes."""
    cells = modes.cells
    weighed = modes.weights[..., None] * field.reshape(modes.points.shape)
    sum_, arm = weighed.sum(axis=1), modes.points.transpose(0, 2, 1) @ weighed
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
    circuits: tuple[_Circuit, ...]
    sources: dict[int, MagnetSet]
    evaluations: int = 0
    _recent: dict[bytes, Array] = field(default_factory=dict)

    MEMORY = 8

    @cached_property
    def _order(self) -> IntArray:
        return np.argsort(-self._times, kind="stable")

    @cached_property
    def _times(self) -> Array:
        return np.concatenate([c.time for c in self.circuits])

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
        parts = [c.grips(pose, self.sources, self.count) for c in self.circuits]
        found: Array = np.concatenate(parts)[self._order]
        while len(self._recent) >= self.MEMORY:
            del self._recent[next(iter(self._recent))]
        self._recent[key] = found
        return found

    def parted(self, amplitudes: Array) -> dict[int, Array]:
        """Return how much (..., m) of its own modes (`modes_of`) each conductor has, by its number,
        of amplitudes (..., k) of all modes."""
        own = np.empty_like(amplitudes)
        own[..., self._order] = amplitudes
        ends = np.cumsum([len(c.time) for c in self.circuits])[:-1]
        parts = np.split(own, ends, axis=-1)
        found: dict[int, Array] = {}
        for circuit, part in zip(self.circuits, parts, strict=True):
            found |= circuit.parted(part)
        return found

    def quickness(self, state: State) -> float:
        """Return how fast what drives the currents may change [1/s]."""
        return max(
            quickness(state, conductor.modes, conductor.number, i)
            for circuit in self.circuits
            for conductor in circuit.conductors
            for i in circuit.magnets
        )


def quickness(state: State, modes: CurrentModes, own: int, magnet: int) -> float:
    """Return how fast [1/s] the field of a magnet may change in conductor number `own`."""
    pose = state.pose
    away = pose.position[magnet] - pose.position[own]
    seen = rotations.rotate_back(pose.quaternion[own], away)
    near = NEAR * float(np.sqrt(((modes.points[:, 0] - seen) ** 2).sum(axis=1).min()))
    passing = state.velocity[magnet] - state.velocity[own] - np.cross(state.spin[own], away)
    turning = np.linalg.norm(state.spin[magnet] - state.spin[own])
    return float(np.linalg.norm(passing) / near + turning)


def eddy_brake(system: System) -> EddyBrake | None:
    """Return the brake that a system's conductors are; None where no magnet moves by one."""
    bodies, near = system.bodies, braking_conductors(system.bodies)
    if not near:
        return None
    circuits = tuple(_circuit(system, members, near[members[0]]) for members in joined(system))
    acting = sorted({m for found in near.values() for m in found})
    sources = {m: magnet_set([source_of(bodies[m])], [bodies[m].magnetisation]) for m in acting}
    return EddyBrake(len(bodies), circuits, sources)


def _circuit(system: System, members: Sequence[int], magnets: tuple[int, ...]) -> _Circuit:
    conductors = tuple(Conductor(i, modes_of(system, i)) for i in members)
    if len(conductors) == 1:
        return _Circuit(conductors, magnets, conductors[0].modes.time, None)
    pose = system.start.pose
    found = joined_modes(
        [c.modes for c in conductors],
        [pose.position[i] for i in members],
        [rotations.matrix(pose.quaternion[i]) for i in members],
    )
    return _Circuit(conductors, magnets, found.time, found.shares)


def modes_of(system: System, number: int) -> CurrentModes:
    """Return the current modes of a conductor of its own, kept from run to run."""
    body = system.bodies[number]
    conductivity = body.material.conductivity or 0.0
    cells = cells_of(system, number)
    return _modes(body.shape, conductivity, cells)  # type: ignore[arg-type]


def cells_of(system: System, number: int) -> int:
    """Return how many cells are asked for of a conductor."""
    many = next(len(members) for members in joined(system) if number in members)
    return round(CELLS[system.detail] * min(1.0, TOGETHER / many))


@lru_cache(maxsize=16)
def _modes(shape: Shape, conductivity: float, cells: int) -> CurrentModes:
    return current_modes(conductor_cells(shape, cells), conductivity)
