"""How far the cells leave a blow's energy and speed off, told without a second run.

Up to a blow a part has gained what the field gave up between two poses, W = E(start) - E(blow). W
on coarse cells beside W on the run's own gives its limit and bar (`simulation.refinement`), and

    K_0 = K + dW,    v_0 = v sqrt(K_0 / K),    errors u and v_0 u / (2 K_0),

dW = limit - W and u its bar, shared among the bodies as their kinetic energies at the blow are.
First order in dW: that finer cells would have led the part along another path is left out, so near
a point of no return, and after bounces, it says less than two whole runs (`release_accuracy`).

What a part's turning adds to the closing speed at the point that is struck is another matter: a
tilted part swings as a pendulum on its way, and a blow meets it in any phase. So

    u_v = v_0 u / (2 K_0) + 1.5 sum over both bodies of  tau w |r x n|,

tau the share that their torque is known to (the larger at the start and at the blow), w the largest
spin gained so far and r the arm of the point: a pendulum's spin goes with the root of its torque,
and so does the phase that it is met in, here of two radians. `tests/run/blow_bar_family.py` tries
it by seed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells import mesh, refinement_pair
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.product_rule import averaged_finely
from snapsim.magnetics.continuous_normal import serves
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose
from snapsim.simulation.current_stages import change_moments, standing_at
from snapsim.simulation.magnet_rims import nearness, rims
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.refinement import (
    RefinedEstimate,
    TwoMeshes,
    estimate_energy,
    have_seams,
)
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory

TOLERANCE: Final = 1e-7
"""Bound on the energy's error of a solve: W matters to some 1e-3."""

SWING: Final = 1.5
"""u_v over tau w |r x n|: by 1 it missed one of 16 scenes by a twentieth."""

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


@dataclass(frozen=True)
class _Until:
    """What the field does from the start to a blow, with its bar [J]; `torque` (n,) is the share
    that each body's torque is known to."""

    work: RefinedEstimate
    torque: Array


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


def _errors(name: str, run: Trajectory, impact: Impact, until: _Until) -> dict[str, float]:
    """Keys carry their unit; energies that are too small to scale have no speed."""
    k = _frame(run, impact)
    moving, own = float(run.energy["kinetic"][k]), impact.kinetic_energy
    share = min(own / moving, 1.0) if moving > 0 else 1.0
    gained = float(run.energy["magnetic"][0] - run.energy["magnetic"][k]) + _supplied(run, k)
    energy = max(own + share * (float(until.work.value) - gained), 0.0)
    error = share * float(until.work.error)
    found = {
        f"{name}_kinetic_energy_J": energy,
        f"{name}_kinetic_energy_error_J": error,
    }
    if energy <= 0 or own <= 0:
        return found
    scale = energy / own
    speed = impact.closing_speed * float(np.sqrt(scale))
    swing = _swing(run, impact, until.torque)
    of_swing = 2 * swing / speed if speed > 0 else 0.0
    effective = impact.effective_energy * scale
    return found | {
        f"{name}_effective_energy_J": effective,
        f"{name}_effective_energy_error_J": impact.effective_energy * error / own
        + effective * of_swing,
        f"{name}_speed_m_s": speed,
        f"{name}_speed_error_m_s": 0.5 * speed * error / energy + swing,
    }


def _swing(run: Trajectory, impact: Impact, torque: Array) -> float:
    """By how much [m/s] the closing speed may be off for how the bodies turn."""
    k, total = _frame(run, impact), 0.0
    for name in (impact.body, impact.against):
        i = run.system.number(name)
        gained = np.linalg.norm(run.spin[: k + 1, i] - run.spin[0, i], axis=1).max()
        arm = np.linalg.norm(np.cross(impact.point - run.position[k, i], impact.normal))
        total += float(torque[i] * gained * arm)
    return SWING * total


def _torque_share(torque: Array, error: Array) -> Array:
    """Errors (2, n) [N m] of torques (2, n, 3) at the start and at a blow, over the torques."""
    size, most = np.linalg.norm(torque, axis=2).max(axis=0), np.max(error, axis=0)
    share: Array = np.minimum(np.divide(most, size, out=np.zeros_like(most), where=size > 0), 1.0)
    return share


LITTLE = 1e-3
"""Share of the blow's energy, or of the most work of a stage, below which one is not looked at."""


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
        self.meshes = TwoMeshes(
            coarse, own, pieces=_pieces(run.system), continuous=alone, seams=have_seams(run.system)
        )
        coarse_count, count = self.meshes.counts
        self.as_coarse = count < TWICE * coarse_count
        self.model = MagneticModel(
            run.system.bodies, run.system.detail, TOLERANCE, meshes=coarse, recoil=run.system.recoil
        )
        self.rims = {i: rims(run.system.bodies[i]) for i in self.model.magnets}

    def until(self, impact: Impact) -> _Until:
        """From the first frame to the blow's, stage by stage of the currents."""
        parts = [self._within(*legs) for legs in _legs(self.run, _frame(self.run, impact))]
        value, error = sum(p.work.value for p in parts), sum(p.work.error for p in parts)
        work = RefinedEstimate(np.asarray(value), np.asarray(error))
        return _Until(work, np.max([p.torque for p in parts], axis=0))

    def _within(self, first: int, k: int) -> _Until:
        """From one frame to another, between which currents stand still."""
        now = standing_at(self.system, 0.5 * float(self.run.time[first] + self.run.time[k]))
        if self.several:
            return self._of_several(first, k, self.judged.under(now))
        model = self.model.with_currents(now.bodies)
        before, after = (model.evaluate(_pose(self.run, at)) for at in (first, k))
        own = float(self.run.energy["magnetic"][first] - self.run.energy["magnetic"][k])
        counts = self.meshes.counts
        # the error falls about as the size of the cells: what a halving would have changed
        halved = 1 / (float(np.cbrt(counts[1] / counts[0])) - 1)
        step = halved * (own - (before.energy - after.energy))
        clear, missed = self._near(k)
        work = estimate_energy(own - step, own, clear, missed, self.meshes)
        # cells of another family than the coarse ones may leave less than a step tells
        back = np.maximum(work.error, abs(work.value - own))
        torque = self.run.torque[[first, k]]
        change = halved * np.linalg.norm(torque - [before.torque, after.torque], axis=2)
        error = sum(self.meshes.ratios(clear)) * change
        error += (self.meshes.floor + missed) * np.linalg.norm(torque, axis=2)
        return _Until(replace(work, error=back), _torque_share(torque, error))

    def _of_several(self, first: int, k: int, judged: PoseAccuracy) -> _Until:
        start, end = (judged.at(_pose(self.run, at)) for at in (first, k))
        error = float(start.energy.error + end.energy.error)
        work = RefinedEstimate(start.energy.value - end.energy.value, np.array(error))
        torque = np.array([one.fine.torque for one in (start, end)])
        return _Until(work, _torque_share(torque, np.array([start.torque.error, end.torque.error])))

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


def _legs(run: Trajectory, k: int) -> list[tuple[int, int]]:
    """First and last frame of each stage of the currents up to frame `k`; of stages in which the
    field does next to nothing, as while a part is held, only the last."""
    moments = change_moments(run.system.bodies)
    cuts = moments[(moments > 0) & (moments < run.time[k])]
    ends = [*(np.searchsorted(run.time, cuts, side="right") - 2), k]
    begins = [0, *(end + 1 for end in ends[:-1])]
    legs = [(int(b), int(e)) for b, e in zip(begins, ends, strict=True)]
    field = run.work["field"]
    work = [abs(float(field[e] - field[b])) for b, e in legs]
    little = LITTLE * max([*work, float(run.energy["kinetic"][k])])
    return [leg for leg, done in zip(legs[:-1], work, strict=False) if done > little] + legs[-1:]


def _supplied(run: Trajectory, k: int) -> float:
    """What changes of currents had added to the magnetic energy by a frame [J]."""
    return float(run.work["supply"][k]) if "supply" in run.work else 0.0


def _pose(run: Trajectory, k: int) -> Pose:
    return Pose(run.position[k], run.quaternion[k])


def _pieces(system: System) -> dict[int, int]:
    """How many members the cells of each body are shared by."""
    return {i: max(len(b.shape.members), 1) for i, b in enumerate(system.bodies)}
