"""How far the cells leave a blow's energy and speed off, told without a second run.

Up to a blow a part has gained what the field gave up between two poses, W = E(start) - E(blow). W
on coarse cells beside W on the run's own gives its limit and bar (`simulation.refinement`), and

    K_0 = K + dW,    v_0 = v sqrt(K_0 / K),    errors u and v_0 u / (2 K_0),

dW = limit - W and u its bar, shared among the bodies as their kinetic energies at the blow are.
First order in dW: that finer cells would have led the part along another path is left out, so near
a point of no return, and after bounces, it says less than two whole runs (`release_accuracy`).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import numpy as np

from snapsim.magnetics.cells import mesh, refinement_pair
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.product_rule import averaged_finely
from snapsim.magnetics.continuous_normal import serves
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose
from snapsim.simulation.magnet_rims import nearness, rims
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.refinement import RefinedEstimate, TwoMeshes, estimate_energy
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory

TOLERANCE: Final = 1e-7
"""Bound on the energy's error of a solve: W matters to some 1e-3."""

TWICE: Final = 2
"""The run's cells over the coarse ones, at least."""


def blow_errors(run: Trajectory, meshes: Mapping[int, CellMesh] | None = None) -> dict[str, float]:
    """Return values and errors of the first blow and of the one with the most kinetic energy.

    `meshes` are the cells of the run where they are not those of its `detail`. Empty without iron,
    or without a blow, and for a run whose cells are no finer than what it would be compared with.
    """
    if not run.impacts or not any(run.system.has_cells(b) for b in run.system.bodies):
        return {}
    asked = {"first_impact": run.impacts[0], "hardest_impact": hardest_of(run)}
    work = _Work(run, meshes)
    if work.as_coarse:
        return {}
    first = work.until(run.impacts[0])
    done = {"first_impact": first}
    done["hardest_impact"] = (
        first if hardest_of(run) is run.impacts[0] else work.until(hardest_of(run))
    )
    found: dict[str, float] = {}
    for name, impact in asked.items():
        found |= _errors(name, run, impact, done[name])
    return found


def hardest_of(run: Trajectory) -> Impact:
    """Return the blow with the most kinetic energy."""
    return max(run.impacts, key=lambda i: i.kinetic_energy)


def low_by(run: Trajectory, blow: Impact) -> float:
    """Return by which share of itself the kinetic energy of a blow may be too low; 0 if unknown.

    Known of the first blow and the hardest.
    """
    if blow.kinetic_energy <= 0:
        return 0.0
    for name, own in (("hardest_impact", hardest_of(run)), ("first_impact", run.impacts[0])):
        energy = run.accuracy.get(f"{name}_kinetic_energy_J")
        error = run.accuracy.get(f"{name}_kinetic_energy_error_J")
        if energy is not None and error is not None and own is blow:
            return max((float(energy) + float(error)) / blow.kinetic_energy - 1, 0.0)
    return 0.0


def _errors(name: str, run: Trajectory, impact: Impact, work: RefinedEstimate) -> dict[str, float]:
    """Keys carry their unit; energies that are too small to scale have no speed."""
    k = _frame(run, impact)
    moving, own = float(run.energy["kinetic"][k]), impact.kinetic_energy
    share = min(own / moving, 1.0) if moving > 0 else 1.0
    gained = float(run.energy["magnetic"][0] - run.energy["magnetic"][k])
    energy = max(own + share * (float(work.value) - gained), 0.0)
    error = share * float(work.error)
    found = {
        f"{name}_kinetic_energy_J": energy,
        f"{name}_kinetic_energy_error_J": error,
    }
    if energy <= 0 or own <= 0:
        return found
    scale = energy / own
    speed = impact.closing_speed * float(np.sqrt(scale))
    return found | {
        f"{name}_effective_energy_J": impact.effective_energy * scale,
        f"{name}_effective_energy_error_J": impact.effective_energy * error / own,
        f"{name}_speed_m_s": speed,
        f"{name}_speed_error_m_s": 0.5 * speed * error / energy,
    }


class _Work:
    """What the field does from the start of a run to a blow, with its bar [J]."""

    def __init__(self, run: Trajectory, meshes: Mapping[int, CellMesh] | None) -> None:
        self.run, self.system = run, run.system
        own = meshes or _own_meshes(run.system)
        self.as_coarse = False
        self.several = sum(b.is_soft for b in run.system.bodies) > 1
        if self.several:
            self.judged = PoseAccuracy(run.system, TOLERANCE)
            return
        coarse = {
            i: _coarse(run.system.bodies[i].shape, run.system.detail)  # type: ignore[arg-type]
            for i in own
        }
        alone = serves(list(own.values()), run.system.recoil)
        self.meshes = TwoMeshes(coarse, own, pieces=_pieces(run.system), continuous=alone)
        coarse_count, count = self.meshes.counts
        self.as_coarse = count < TWICE * coarse_count
        self.model = MagneticModel(
            run.system.bodies, run.system.detail, TOLERANCE, meshes=coarse, recoil=run.system.recoil
        )
        self.rims = {i: rims(run.system.bodies[i]) for i in self.model.magnets}

    def until(self, impact: Impact) -> RefinedEstimate:
        """The work from the first frame to the blow's."""
        k = _frame(self.run, impact)
        if self.several:
            return self._of_several(k)
        before, after = (self.model.evaluate(_pose(self.run, at)).energy for at in (0, k))
        coarse = before - after
        own = float(self.run.energy["magnetic"][0] - self.run.energy["magnetic"][k])
        counts = self.meshes.counts
        # the error falls about as the size of the cells: what a halving would have changed
        step = (own - coarse) / (float(np.cbrt(counts[1] / counts[0])) - 1)
        clear, missed = self._near(k)
        return estimate_energy(own - step, own, clear, missed, self.meshes)

    def _of_several(self, k: int) -> RefinedEstimate:
        start, end = (self.judged.at(_pose(self.run, at)) for at in (0, k))
        error = float(start.energy.error + end.energy.error)
        return RefinedEstimate(start.energy.value - end.energy.value, np.array(error))

    def _near(self, k: int) -> tuple[bool, float]:
        """Whether no magnet's edge is within a cell, and the share of a force missed there."""
        cells, pose = self.meshes.fine, _pose(self.run, k)
        found = [nearness(m, i, self.rims, pose) for i, m in cells.items()]
        return all(one.clear for one in found), max(one.missed for one in found)


def _own_meshes(system: System) -> dict[int, CellMesh]:
    return {
        i: mesh(b.shape, system.detail) for i, b in enumerate(system.bodies) if system.has_cells(b)
    }


@lru_cache(maxsize=32)
def _coarse(shape: Shape, detail: str) -> CellMesh:
    """The coarse cells of a shape, kept from run to run."""
    return averaged_finely(refinement_pair(shape, detail)[0])


def _frame(run: Trajectory, impact: Impact) -> int:
    """The frame of a blow: one is stored at each."""
    return min(int(np.searchsorted(run.time, impact.time)), len(run.time) - 1)


def _pose(run: Trajectory, k: int) -> Pose:
    return Pose(run.position[k], run.quaternion[k])


def _pieces(system: System) -> dict[int, int]:
    """How many members the cells of each body are shared by."""
    return {i: max(len(b.shape.members), 1) for i, b in enumerate(system.bodies)}
