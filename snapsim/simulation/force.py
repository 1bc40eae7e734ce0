"""Force, torque and magnetisation of every body as placed: a look before release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.numerics import rotations
from snapsim.simulation.system import System


@dataclass(frozen=True)
class ForceReport:
    """What acts now. Arrays are one row a body, in the order of `system.bodies`.

    `force` (n, 3) [N] and `torque` (n, 3) [N m] about the centres of mass, world axes, magnetic
    only; `mean_polarisation` (n, 3) [T] world axes and `peak_polarisation` (n,) [T], zero for a
    body that no field magnetises; `cells` (n,); `magnetic_energy` [J]. `error_bound` [J] bounds
    how far the solved energy lies above its minimum on these cells.
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


def force(system: System) -> ForceReport:
    """Evaluate the magnetics once, at the state of release, to a tight tolerance."""
    model = MagneticModel(system.bodies, system.detail, tolerance=1e-9)
    found = model.evaluate(system.start.pose)
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
    )


def _polarisation(
    system: System, model: MagneticModel, found: MagneticState
) -> tuple[Array, Array, tuple[int, ...]]:
    """Mean (n, 3) and peak (n,) polarisation [T] and cell counts of all bodies."""
    count = len(system.bodies)
    mean, peak, cells = np.zeros((count, 3)), np.zeros(count), [0] * count
    for i, body in enumerate(system.bodies):
        if body.is_magnet:
            mean[i] = MU_0 * body.magnetisation
            peak[i] = float(np.linalg.norm(mean[i]))
    for slot, i in enumerate(model.soft):
        local, volume = found.magnetisation[slot], model.cells[i].volume
        mean[i] = MU_0 * (volume @ local) / volume.sum()
        peak[i] = MU_0 * float(np.linalg.norm(local, axis=1).max())
        cells[i] = len(volume)
    world = rotations.rotate(system.start.pose.quaternion, mean)
    return world, peak, tuple(cells)
