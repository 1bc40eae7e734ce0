"""Pull against weight: the upward magnetic force on a part over its gap to the magnet.

    F(g) . u  against  m g,    lift-off at the widest gap g* where they are equal

u the way against gravity; the part keeps its orientation and is moved straight up and down, through
whatever stands in the way but what attracts it: the force is asked for, not a way to go. Nearer
than g* the part lifts itself. g* is found on two meshes, which give it and its error bar
(`simulation.refinement`); the curve is of the finer one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.errors import InputError, label
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import attractors
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import at_gap
from snapsim.landscape.thresholds import RefinedQuantity
from snapsim.landscape.ways import up
from snapsim.simulation.refinement import estimate_scalar, two_meshes
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

NEAREST: Final = 5e-4
"""Smallest gap [m] that is looked at."""

FARTHEST: Final = 2.0
"""Largest [m]."""

POINTS: Final = 36


@dataclass(frozen=True)
class PullCurve:
    """Over `gap` (k,) [m], rising: upward magnetic `pull` (k,) [N]; the part's `weight` [N].
    `lift_off` [m], None where the pull is below the weight at every gap or above it at all; `now`
    the present gap [m] and pull [N]; `magnet` the nearest body's name."""

    gap: Array
    pull: Array
    weight: float
    lift_off: RefinedQuantity | None
    now: tuple[float, float]
    magnet: str


def pull_curve(system: System, body: int, progress: Progress | None = None) -> PullCurve:
    """Return the curve of body number `body`; raises InputError where it meets nothing that
    attracts it on its way up, and where it has no weight."""
    if not np.any(system.gravity):
        raise InputError("there is no weight to hold the pull against", key="gravity")
    meshes = two_meshes(system)
    fine, coarse = (
        _Upward(EnergyLandscape(system, body, meshes=m), Constraints(system, body))
        for m in (meshes.fine, meshes.coarse)
    )
    farthest = fine.farthest()
    gaps = np.geomspace(NEAREST, farthest, POINTS)
    pull = []
    for k, gap in enumerate(gaps.tolist()):
        if progress is not None:
            progress("pull over the gap", k, POINTS)
        pull.append(fine.pull(gap))
    lift_off = None
    over = np.flatnonzero(np.diff(np.sign(np.array(pull) - fine.weight)))
    if len(over):
        ends = float(gaps[over[-1]]), float(gaps[over[-1] + 1])
        rough, near = coarse.crossing(*ends), fine.crossing(*ends)
        told = estimate_scalar(rough, near, meshes)
        lift_off = RefinedQuantity(float(told.value), float(told.error), rough, near)
    return PullCurve(gaps, np.array(pull), fine.weight, lift_off, fine.now(), fine.magnet)


class _Upward:
    """One part moved straight up and down, on one mesh."""

    def __init__(self, landscape: EnergyLandscape, constraints: Constraints) -> None:
        self.landscape, self.constraints = landscape, constraints
        self.rise = up(landscape)
        self.weight = landscape.mass * float(np.linalg.norm(landscape.system.gravity))
        drawing = np.isin(constraints.others, list(attractors(landscape)))
        gaps = np.where(drawing, constraints.gaps(landscape.start), np.inf)
        self.magnet = landscape.system.bodies[int(constraints.others[int(np.argmin(gaps))])].name
        near = at_gap(constraints, landscape.start, self.rise, drawing, NEAREST, both=True)
        if near is None:
            problem = "does not meet the magnet straight above or below it: nothing to draw"
            raise InputError(problem, key=f"body.{label(landscape.body.name)}")
        self.near = near

    def at(self, gap: float) -> Place:
        """The place as far below the nearest one as the gap is wider."""
        return Place(self.near.position - (gap - NEAREST) * self.rise, self.near.quaternion)

    def pull(self, gap: float) -> float:
        """Upward force [N]."""
        return float(self.landscape.at(self.at(gap)).force @ self.rise)

    def now(self) -> tuple[float, float]:
        """The present gap and pull."""
        start = self.landscape.start
        gap = float((self.near.position - start.position) @ self.rise) + NEAREST
        return gap, float(self.landscape.at(start).force @ self.rise)

    def farthest(self) -> float:
        """A gap beyond the present one at which the pull is well below the weight."""
        gap = max(1.5 * self.now()[0], 0.05)
        while self.pull(gap) > 0.3 * self.weight and gap < FARTHEST:
            gap *= 1.5
        return gap

    def crossing(self, low: float, high: float) -> float:
        """Where pull and weight are equal, in a bracket that grows where this mesh needs it."""

        def over(gap: float) -> float:
            return self.pull(gap) - self.weight

        while over(low) < 0 and low > NEAREST:
            low = max(0.8 * low, NEAREST)
        while over(high) > 0 and high < FARTHEST:
            high *= 1.25
        if over(low) * over(high) > 0:
            return 0.5 * (low + high)
        return float(brentq(over, low, high, xtol=1e-6))
