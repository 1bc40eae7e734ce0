"""What acts on the part where it is: the figures that follow a drag at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from snapsim.analysis.figures import number, numbers
from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.page.pull_bar import pull_bar
from snapsim.simulation.overlap import Overlap, OverlapError
from snapsim.simulation.system import System

TOLERANCE = 1e-6
"""Bound on the magnetic energy's error, as a share of it: forces come to about 1e-4."""

OVERLAP = 1e-6
"""Depth [m] that still counts as touching; releases refuse more."""

TOUCH = 1e-5
"""Gap [m] below which bodies are said to touch."""


@dataclass(frozen=True)
class Probe:
    """One part of one scene, ready to be looked at in any place. Not shared between threads.

    Where `blocked` by two other bodies that overlap there is no landscape.
    """

    system: System
    part: int
    landscape: EnergyLandscape | None
    constraints: Constraints
    blocked: Overlap | None = None

    def figures(self, place: Place) -> dict[str, Any]:
        """Return force [N], torque [N m], energy [J] and gaps [m] of the part at a place.

        Where it would overlap another body nothing acts that could be measured: no figures then.
        """
        gaps = self.constraints.gaps(place)
        found = self._gaps(gaps)
        if found["overlap"] is not None or self.landscape is None:
            return found
        level = self.landscape.at(place)
        return found | {
            "force_N": numbers(level.force),
            "torque_Nm": numbers(level.torque),
            "magnetic_energy_J": number(level.magnetic),
            "total_energy_J": number(level.energy),
            "weight_N": float(np.linalg.norm(self.landscape.mass * self.system.gravity)),
            "converged": level.converged,
            **self._bar(self.landscape, place, gaps),
        }

    def _bar(self, landscape: EnergyLandscape, place: Place, gaps: Array) -> dict[str, Any]:
        """By which share cells may leave the force too low; or which iron is too near to tell."""
        each = dict(zip(self.constraints.others.tolist(), gaps.tolist(), strict=True))
        bar = pull_bar(self.system, landscape.model, self.part, landscape.pose(place), each)
        return {"force_low_by_up_to": bar.low_by, "close_to": bar.close_to}

    def _gaps(self, gaps: Any) -> dict[str, Any]:
        names = [self.system.bodies[int(i)].name for i in self.constraints.others]
        magnets = [
            (float(gap), name)
            for gap, name, i in zip(gaps, names, self.constraints.others, strict=True)
            if self.system.bodies[int(i)].is_magnet
        ]
        deepest = int(np.argmin(gaps)) if len(gaps) else -1
        overlap = None
        if self.blocked is not None:
            overlap = {
                "of": self.blocked.body,
                "with": self.blocked.other,
                "depth_m": self.blocked.depth,
            }
        if len(gaps) and gaps[deepest] < -OVERLAP:
            of = self.system.bodies[self.part].name
            overlap = {"of": of, "with": names[deepest], "depth_m": -float(gaps[deepest])}
        nearest = min(magnets, default=None)
        return {
            "gap_m": None if nearest is None else max(nearest[0], 0.0),
            "nearest_magnet": None if nearest is None else nearest[1],
            "touches": [n for gap, n in zip(gaps, names, strict=True) if gap < TOUCH],
            "overlap": overlap,
        }


def probe(system: System, part: int, detail: str) -> Probe:
    """Return what `figures` needs; the first time a shape is meshed this takes seconds."""
    constraints = Constraints(system, part)
    try:
        landscape = EnergyLandscape(
            system, part, detail=detail, tolerance=TOLERANCE, start_matters=False
        )
    except OverlapError as error:
        return Probe(system, part, None, constraints, error.worst)
    made = Probe(system, part, landscape, constraints)
    made.figures(landscape.start)
    return made
