"""Force, torque and energy in a pose on two meshes, with what the cells leave them off by.

Each is solved on a coarse and a fine mesh with many points a cell, and on the fine one with the few
points that a release has; `refinement` turns these into a limit and a bar, `close_soft_parts` adds
what gaps between soft parts hide from any mesh of constant cells. Not covered: the material's
curve, the magnet's grade, hysteresis and eddy currents.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.magnetics.cells import nominal_size
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose
from snapsim.simulation.close_soft_parts import MATTERS, CloseGap, CloseSoftParts
from snapsim.simulation.magnet_rims import Nearness, nearness, rims
from snapsim.simulation.refinement import (
    SAFETY,
    RefinedEstimate,
    estimate_energy,
    estimate_loads,
    pull_error,
    refined_finely,
    two_meshes,
)
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Cells

TOLERANCE = 1e-9
"""Bound on the energy's error of every solve, over the soft parts' energy."""

BALANCED: Final = 5e-5
"""Least bar of a torque over force and reach: where symmetry allows none, two meshes tell of none,
and a solve to `TOLERANCE` leaves 2e-5 (a box of thin walls at normal)."""

Pulls = Mapping[tuple[int, int], Array]
"""Force (3,) [N] on the first of two soft bodies from the second, by their numbers."""


@dataclass(frozen=True)
class PoseEstimate:
    """One pose of n bodies: `force` [N], `torque` [N m], `energy` [J] with bars; the solutions
    `coarse` and `fine` that they come from; `close` the gaps that widened them."""

    force: RefinedEstimate
    torque: RefinedEstimate
    energy: RefinedEstimate
    coarse: MagneticState
    fine: MagneticState
    close: tuple[CloseGap, ...]
    pulls: Pulls

    def low_by(self, body: int) -> float:
        """Return the share by which the pull on a body may be greater than these cells find it."""
        pull = float(np.linalg.norm(self.fine.force[body]))
        top = float(np.linalg.norm(self.force.value[body]) + self.force.error[body])
        return top / pull - 1.0 if pull > 0 else 0.0


class PoseAccuracy:
    """A system ready to be asked for errors in any pose of its bodies."""

    def __init__(self, system: System, tolerance: float = TOLERANCE) -> None:
        self.system = system
        self.meshes = two_meshes(system)
        finely = refined_finely(self.meshes)

        def model(meshes: Mapping[int, CellMesh]) -> MagneticModel:
            return MagneticModel(
                system.bodies, system.detail, tolerance, meshes=meshes, recoil=system.recoil
            )

        self.fine, self.rough = model(finely.fine), model(self.meshes.fine)
        self.coarse = model(finely.coarse) if finely.coarse else self.fine
        self._cells = finely.fine
        self._reaches = np.array([float(b.shape.extents.max()) for b in system.bodies])
        edges = {i: nominal_size(cells) for i, cells in finely.fine.items()}
        widest = max(edges.values(), default=0.0)
        self._edges = np.array([edges.get(i, widest) for i in range(len(system.bodies))])
        self._rims = {i: rims(system.bodies[i]) for i in self.fine.magnets} if finely.fine else {}
        soft = self.fine.soft
        self._close = CloseSoftParts(
            system,
            {
                system.bodies[i].name: Cells(self._cells[i].centre, self._cells[i].volume)
                for i in soft
            },
            self.meshes.continuous,
        )

    def under(self, system: System) -> PoseAccuracy:
        """Return the same for the same bodies with other currents."""
        other = copy(self)
        other.system, bodies = system, system.bodies
        other.fine, other.rough, other.coarse = (
            m.with_currents(bodies) for m in (self.fine, self.rough, self.coarse)
        )
        return other

    def at(self, pose: Pose) -> PoseEstimate:
        """Return limits and bars in one pose."""
        fine, coarse, rough = (m.evaluate(pose) for m in (self.fine, self.coarse, self.rough))
        near = self._near(pose)
        clear = np.array([one.clear for one in near])
        missed = np.array([one.missed for one in near])
        pulls = self.fine.pulls_between(pose, fine)
        before = self.coarse.pulls_between(pose, coarse)
        mutual, mutual_before = self._summed(pulls), self._summed(before)
        push = estimate_loads(
            coarse.force - mutual_before,
            fine.force - mutual,
            np.linalg.norm(fine.force - rough.force, axis=1)
            + missed * np.linalg.norm(fine.force - mutual, axis=1),
            clear,
            self.meshes,
        )
        whole = estimate_loads(coarse.force, fine.force, np.zeros(len(clear)), clear, self.meshes)
        rule = np.linalg.norm(fine.torque - rough.torque, axis=1)
        rule += missed * np.linalg.norm(fine.torque, axis=1)
        rule += BALANCED * self._reaches * np.linalg.norm(fine.force, axis=1)
        # the force's error acts somewhere: near symmetry two meshes may agree on no torque
        rule += push.error * self._edges
        found = PoseEstimate(
            replace(whole, error=push.error),
            estimate_loads(coarse.torque, fine.torque, rule, clear, self.meshes),
            estimate_energy(
                coarse.energy, fine.energy, bool(clear.all()), float(missed.max()), self.meshes
            ),
            coarse,
            fine,
            (),
            pulls,
        )
        return self._widened(found, pose, before, clear) if pulls else found

    def _summed(self, pulls: Pulls) -> Array:
        """(n, 3) what other soft parts pull each body with."""
        total = np.zeros((len(self.system.bodies), 3))
        for (i, j), pull in pulls.items():
            total[i] += pull
            total[j] -= pull
        return total

    def _near(self, pose: Pose) -> list[Nearness]:
        """How near magnets' edges come to each body's cells.

        Bodies without cells are pushed by all that have some.
        """
        found = {i: nearness(cells, i, self._rims, pose) for i, cells in self._cells.items()}
        all_of = Nearness(
            min((one.rim for one in found.values()), default=np.inf),
            max((one.missed for one in found.values()), default=0.0),
        )
        return [found.get(i, all_of) for i in range(len(self.system.bodies))]

    def _widened(
        self, found: PoseEstimate, pose: Pose, before: Pulls, clear: BoolArray
    ) -> PoseEstimate:
        """Add what the pulls between soft parts are off by to both bars; to a torque's by an arm,
        to the energy's by a length."""
        force, torque = found.force.error.copy(), found.torque.error.copy()
        energy = float(found.energy.error)
        gaps = self._gaps(pose, found.fine, found.pulls)
        unlocked = {_pair(gap, self.system) for gap in gaps if gap.unlocked}
        for (i, j), pull in found.pulls.items():
            if (i, j) in unlocked:
                continue
            error = pull_error(before[i, j], pull, bool(clear[i] and clear[j]), self.meshes)
            for k in (i, j):
                force[k] += error
                torque[k] += error * float(self.system.bodies[k].shape.extents.max())
        for gap in gaps:
            i, j = _pair(gap, self.system)
            growth = float(np.linalg.norm(found.pulls[i, j] - before[i, j]))
            error = gap.error(growth)
            if not gap.unlocked:
                error *= self.meshes.safety / SAFETY
            energy += error * max(gap.gap, gap.cell)
            for k in (i, j):
                force[k] += error
                arm = float(np.linalg.norm(np.array(gap.point) - pose.position[k]))
                if gap.unlocked:
                    arm = max(arm, float(self.system.bodies[k].shape.extents.max()))
                torque[k] += error * arm
        return replace(
            found,
            force=replace(found.force, error=force),
            torque=replace(found.torque, error=torque),
            energy=replace(found.energy, error=np.array(energy)),
            close=tuple(gap for gap in gaps if matters(gap, self.system, found.fine.force)),
        )

    def _gaps(self, pose: Pose, found: MagneticState, pulls: Pulls) -> list[CloseGap]:
        names = [self.system.bodies[i].name for i in self.fine.soft]
        here = dict(zip(names, found.magnetisation, strict=False))
        return with_pulls(self.system, self._close.at(pose, here), found.force, pulls)


def worth_a_word(
    system: System, gaps: list[CloseGap], force: Array, pulls: Pulls
) -> tuple[CloseGap, ...]:
    """Return the gaps, their pull filled in, whose error matters beside the lesser of the forces
    (n, 3) [N] on the two parts."""
    told = with_pulls(system, gaps, force, pulls)
    return tuple(gap for gap in told if matters(gap, system, force))


def with_pulls(system: System, gaps: list[CloseGap], force: Array, pulls: Pulls) -> list[CloseGap]:
    """Return the gaps with their pull and the larger of the forces (n, 3) [N] filled in."""
    told = []
    for gap in gaps:
        i, j = _pair(gap, system)
        larger = float(np.linalg.norm(force[[i, j]], axis=1).max())
        told.append(replace(gap, pull=float(np.linalg.norm(pulls[i, j])), larger=larger))
    return told


def matters(gap: CloseGap, system: System, force: Array) -> bool:
    """Does its error matter beside the lesser of the forces (n, 3) [N] on the two parts?"""
    lesser = float(np.linalg.norm(force[list(_pair(gap, system))], axis=1).min())
    error = gap.locking * gap.gross if gap.flat else gap.crowding * gap.pull
    return error > MATTERS * lesser


def _pair(gap: CloseGap, system: System) -> tuple[int, int]:
    i, j = sorted((system.number(gap.first), system.number(gap.second)))
    return i, j
