"""Force, torque and magnetisation of every body as placed: a look before release."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.landscape.body_force import BodyForce
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.pull_off import PullOff, pull_off
from snapsim.magnetics.continuous_normal import serves
from snapsim.magnetics.model import MagneticModel, MagneticSeries, MagneticState
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.simulation.close_soft_parts import CloseGap, CloseSoftParts
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.pose_accuracy import (
    TOLERANCE,
    PoseAccuracy,
    PoseEstimate,
    Pulls,
    worth_a_word,
)
from snapsim.simulation.refinement import RefinedEstimate, estimate_vectors
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Cells


@dataclass(frozen=True)
class ForceAccuracy:
    """Limits of vanishing cells and error bars from two meshes (`refinement`).

    `force` [N], `torque` [N m], `mean_polarisation` [T] of the n bodies, `magnetic_energy` [J];
    `coarse_cells` and `cells` (n,); `order` is the power of the cell size that the error is taken
    to fall with; `solver_bound` [J] and `converged` are the worse of both solutions.
    """

    force: RefinedEstimate
    torque: RefinedEstimate
    mean_polarisation: RefinedEstimate
    magnetic_energy: RefinedEstimate
    coarse_cells: tuple[int, ...]
    cells: tuple[int, ...]
    order: float
    solver_bound: float
    converged: bool


@dataclass(frozen=True)
class ForceReport:
    """What acts now. Arrays are one row a body, in the order of `system.bodies`.

    `force` (n, 3) [N] and `torque` (n, 3) [N m] about the centres of mass, world axes, magnetic
    only; `mean_polarisation` (n, 3) [T] world axes and `peak_polarisation` (n,) [T], zero for a
    body that no field magnetises; `cells` (n,); `magnetic_energy` [J]. `error_bound` [J] bounds
    how far the solved energy lies above its minimum on these cells. `pull_off` (n,): what it takes
    to pull or tip a free body that rests on something, else None. `accuracy`, where asked for,
    says how far the cells themselves leave the numbers off; `close` are the gaps between soft parts
    that the cells do not resolve at all, `pulls` (3,) [N] the force on the first of each pair of
    soft bodies from the second. `between` (n, n, 6) [N, N m]: in row i, column j the wrench on body
    i about its centre from body j; rows add up to `force` and `torque`.
    """

    system: System
    force: Array
    torque: Array
    mean_polarisation: Array
    peak_polarisation: Array
    cells: tuple[int, ...]
    magnetic_energy: float
    error_bound: float
    converged: bool
    pull_off: tuple[PullOff | None, ...] = ()
    accuracy: ForceAccuracy | None = None
    close: tuple[CloseGap, ...] = ()
    pulls: Mapping[tuple[int, int], Array] = field(default_factory=dict)
    between: Array | None = None

    def __getitem__(self, name: str) -> BodyForce:
        """Return what acts on the body called `name`; raises InputError."""
        i = self.system.number(name)
        return BodyForce(
            name,
            self.force[i],
            self.torque[i],
            self.mean_polarisation[i],
            float(self.peak_polarisation[i]),
            self.cells[i],
            self.pull_off[i] if self.pull_off else None,
        )


def force(system: System, accuracy: bool = False) -> ForceReport:
    """Evaluate the magnetics once, at the state of release, to a tight tolerance.

    With `accuracy` the report, on the cells that a release has, says from two other meshes how far
    it is off. Raises OverlapError where bodies start inside each other.
    """
    refuse_overlaps(system)
    if not accuracy:
        return _evaluated(system)
    judged = PoseAccuracy(system)
    return replace(_evaluated(system), accuracy=_accuracy(judged, judged.at(system.start.pose)))


def forces(system: System, poses: Iterable[Pose], tolerance: float = 1e-6) -> MagneticSeries:
    """Evaluate the magnetics in many poses of all bodies, arrays a row a pose.

    Each solve starts from those before, so poses in the order of a path cost least. `tolerance` is
    the bound on the energy's error over the energy of the soft parts.
    """
    model = MagneticModel(system.bodies, system.detail, tolerance, recoil=system.recoil)
    return model.evaluate_many(poses)


def magnetisation_as_placed(system: System, tolerance: float = 1e-9) -> dict[str, Array]:
    """Return the magnetisation (c, 3) [A/m], body axes, of each body with cells, by name.

    `tolerance` as in `forces`. Raises OverlapError where bodies start inside each other.
    """
    refuse_overlaps(system)
    model = MagneticModel(system.bodies, system.detail, tolerance, recoil=system.recoil)
    found = model.evaluate(system.start.pose)
    numbers = (*model.soft, *model.recoiling)
    return {system.bodies[i].name: m for i, m in zip(numbers, found.magnetisation, strict=True)}


def _evaluated(system: System) -> ForceReport:
    model = MagneticModel(system.bodies, system.detail, TOLERANCE, recoil=system.recoil)
    found = model.evaluate(system.start.pose)
    pulls = model.pulls_between(system.start.pose, found)
    mean, peak, cells = _polarisation(system, model, found)
    return ForceReport(
        system,
        found.force,
        found.torque,
        mean,
        peak,
        cells,
        found.energy,
        found.bound,
        found.converged,
        _pull_offs(system, found),
        close=_close(system, model, found, pulls),
        pulls=pulls,
        between=model.loads_between(system.start.pose, found),
    )


def _close(
    system: System, model: MagneticModel, found: MagneticState, pulls: Pulls
) -> tuple[CloseGap, ...]:
    """The gaps whose error is worth a word beside the lesser of the forces on the two parts."""
    names = [system.bodies[i].name for i in model.soft]
    meshes = [model.cells[i] for i in model.soft]
    cells = {n: Cells(m.centre, m.volume) for n, m in zip(names, meshes, strict=True)}
    here = dict(zip(names, found.magnetisation, strict=False))
    continuous = serves(model.cells.values(), system.recoil)
    gaps = CloseSoftParts(system, cells, continuous).at(system.start.pose, here)
    return worth_a_word(system, gaps, found.force, pulls)


def _pull_offs(system: System, found: MagneticState) -> tuple[PullOff | None, ...]:
    """For each free body, the others taken as held."""
    pulls: list[PullOff | None] = []
    for i, body in enumerate(system.bodies):
        if body.fixed:
            pulls.append(None)
            continue
        pose = system.start.pose
        load = np.append(found.force[i] + body.mass * system.gravity, found.torque[i])
        place = Place(pose.position[i], pose.quaternion[i])
        pulls.append(pull_off(Constraints(system, i), place, load))
    return tuple(pulls)


def _accuracy(judged: PoseAccuracy, found: PoseEstimate) -> ForceAccuracy:
    meshes, fine, coarse = judged.meshes, found.fine, found.coarse
    before, _, coarse_cells = _polarisation(judged.system, judged.coarse, coarse)
    mean, _, cells = _polarisation(judged.system, judged.fine, fine)
    return ForceAccuracy(
        force=found.force,
        torque=found.torque,
        mean_polarisation=estimate_vectors(before, mean, meshes),
        magnetic_energy=found.energy,
        coarse_cells=coarse_cells,
        cells=cells,
        order=meshes.order,
        solver_bound=max(coarse.bound, fine.bound),
        converged=coarse.converged and fine.converged,
    )


def _polarisation(
    system: System, model: MagneticModel, found: MagneticState
) -> tuple[Array, Array, tuple[int, ...]]:
    """Mean (n, 3) and peak (n,) polarisation [T] and cell counts of all bodies."""
    count = len(system.bodies)
    mean, peak, cells = np.zeros((count, 3)), np.zeros(count), [0] * count
    for i, body in enumerate(system.bodies):
        if body.is_permanent:
            mean[i] = MU_0 * body.magnetisation
            peak[i] = float(np.linalg.norm(mean[i]))
    for slot, i in enumerate((*model.soft, *model.recoiling)):
        local, volume = found.magnetisation[slot], model.cells[i].volume
        mean[i] = MU_0 * (volume @ local) / volume.sum()
        peak[i] = MU_0 * float(np.linalg.norm(local, axis=1).max())
        cells[i] = len(volume)
    world = rotations.rotate(system.start.pose.quaternion, mean)
    return world, peak, tuple(cells)
