"""Gaps between soft parts that their cells do not resolve.

Where two permeable bodies all but touch at a point or along an edge, flux crowds into the gap: over
a width of about sqrt(2 R g) for radii R and a gap g (Jones, Electromechanics of Particles, 1995,
ch. 6; from memory), which cells of edge l no longer follow once g is below l. The pull between them
then comes out too small. Measured against the series for two spheres of chi = 1000 that
`tests/magnetics/test_mutual.py` uses, 864 cells a sphere: 4 % too small at g = 1.2 l, 37 % at
0.12 l, many times at contact. Not so where flat faces meet, where the iron at the gap is saturated
(below 1 % at any gap, against three times the cells), or between a soft part and a magnet, whose
field is exact (below 0.5 %).

Hence a pair is named where g < l, unless three of its contacts span a flat face or |M| in the
nearest cell of either body is above `SATURATED` of saturation.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.mechanics.contact import ContactGeometry, ContactSet
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfaceRules
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Cells, Trajectory

SATURATED: Final = 0.9
"""|M| over its saturation from which flux no longer crowds into a gap."""

FLAT: Final = 0.99
"""Cosine between normals of contacts of one flat face."""


@dataclass(frozen=True)
class CloseGap:
    """Two soft bodies, their `gap` [m] and the edge [m] of the larger of the cells at it."""

    first: str
    second: str
    gap: float
    cell: float

    def __str__(self) -> str:
        return (
            f'"{self.first}" and "{self.second}" come within {1e3 * max(self.gap, 0.0):.2g} mm, '
            f"less than their cells' {1e3 * self.cell:.2g} mm, unsaturated: the pull between them "
            "is too small there: 5 % at a cell's size, half at a tenth, more at contact"
        )


class CloseSoftParts:
    """Looks for such gaps in poses of a system; `cells` by the bodies' names."""

    def __init__(self, system: System, cells: Mapping[str, Cells]) -> None:
        self._bodies = [b for b in system.bodies if b.is_soft and b.name in cells]
        self._numbers = [system.number(b.name) for b in self._bodies]
        self._cells = [cells[b.name] for b in self._bodies]
        self._edges = [np.cbrt(c.volume) for c in self._cells]
        # without air gaps: flux crosses a coat of paint as it does air
        self._geometry = ContactGeometry(self._bodies, SurfaceRules())

    def at(self, pose: Pose, magnetisation: Mapping[str, Array]) -> list[CloseGap]:
        """Return the gaps in one pose of all bodies; M (c, 3) [A/m] by name, body axes."""
        if not len(self._geometry.pairs):
            return []
        here = Pose(pose.position[self._numbers], pose.quaternion[self._numbers])
        reach = max(float(edge.max()) for edge in self._edges)
        if not (self._geometry.gap_bounds(here) < reach).any():
            return []
        contacts = self._geometry.contacts(here, reach)
        found = []
        for a, b in self._geometry.pairs.tolist():
            mine = np.flatnonzero((contacts.pair == [a, b]).all(axis=1))
            if len(mine) and not _flat(contacts, mine):
                nearest = int(mine[np.argmin(contacts.gap[mine])])
                found += self._judged(a, b, contacts, nearest, here, magnetisation)
        return found

    def _judged(
        self, a: int, b: int, contacts: ContactSet, at: int, pose: Pose, m: Mapping[str, Array]
    ) -> list[CloseGap]:
        gap, edge = float(contacts.gap[at]), 0.0
        for i in (a, b):
            body, cells = self._bodies[i], self._cells[i]
            turn = rotations.matrix(pose.quaternion[i])
            point = (contacts.point[at] - pose.position[i]) @ turn
            cell = int(np.argmin(np.sum((cells.position - point) ** 2, axis=1)))
            edge = max(edge, float(self._edges[i][cell]))
            if np.linalg.norm(m[body.name][cell]) >= SATURATED * saturation(body):
                return []
        names = self._bodies[a].name, self._bodies[b].name
        return [CloseGap(*names, gap, edge)] if gap < edge else []


def saturation(body: Body) -> float:
    """Return the largest magnetisation [A/m] of a soft body's curve; infinite where linear."""
    curve = body.material.curve
    if curve is None:
        return float("inf")
    if curve.tabulated:
        return float(curve.flux_density[-1] / MU_0 - curve.field_strength[-1])
    return float("inf") if curve.saturation is None else curve.saturation / MU_0


def closest_of(run: Trajectory) -> dict[str, float | str]:
    """Return an entry of a run's `accuracy`: the least resolved gap of its frames, if any."""
    looked = CloseSoftParts(run.system, run.cells)
    worst: CloseGap | None = None
    for k in range(len(run.time)):
        pose = Pose(run.position[k], run.quaternion[k])
        for one in looked.at(pose, {name: m[k] for name, m in run.magnetisation.items()}):
            if worst is None or one.gap / one.cell < worst.gap / worst.cell:
                worst = one
    return {} if worst is None else {"close_soft_parts": str(worst)}


def _flat(contacts: ContactSet, mine: IntArray) -> bool:
    """Do two flat faces meet: three contacts of one normal that span a face?"""
    normal, point = contacts.normal[mine], contacts.point[mine]
    if len(mine) < 3 or (normal @ normal[0]).min() < FLAT:
        return False
    spans = np.linalg.svd(point - point.mean(axis=0), compute_uv=False)
    return bool(spans[1] > 0.05 * spans[0])
