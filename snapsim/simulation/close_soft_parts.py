"""Gaps between soft parts that their cells do not resolve, and what that leaves the pull off by.

Two causes, of opposite sign (errors of the pull of one part on the other, normal cells, measured
against finite elements and cells of 0.25 mm with exact tensors).

*A point or an edge* (curved parts, blocks on edge): flux crowds into the gap over a width of about
sqrt(2 R g) for radii R and a gap g (Jones, Electromechanics of Particles, 1995, ch. 6; from
memory), which cells of edge l do not follow once g is below l, and their flat faces stand off the
true surface by about l^2/(8 R). The pull is too *small*: spheres by 20 % of what is found at g =
0.2 l, cylinders crossed by 20 % at l and 170 % at 0.1 l, with draft cells fifteenfold at 0.06 l.
Halving the cells brings out more of it, so for two meshes with pulls F_c and F_f

    u = |F_f - F_c| (1 + n) + F_f kappa ...,    n = log2(l / g) + 1 >= 0,

the second term as for flat faces and n the halvings from the fine cells to half a gap: as if each
brought as much again. Twice that with coarse cells fewer than `refinement.ENOUGH`. It covers all
forces that it was tried on but two (draft cells, crossed cylinders, g = 0.06 l: 1.7 u). Those saw
next to nothing of the gap on either mesh, so u is at least what `CROWDED` says.
*Flat faces*: a cell's magnetisation is one vector, which cannot turn along the gap without charges
on inner faces. These cost more the more permeable the part, so the pull of equal faces opposite
each other is too *large*, and no finer mesh shows it: for two rings 0.1 mm apart by 0.3 N at chi =
10, 2.3 at 50, 14 at 400, 21 at 3 000 of some 220 N. Faces of unlike outlines, or shifted ones, have
rims that crowd flux into the other's cells: mostly too small, by up to half. Hence

    u = F_f kappa chi_d / (chi_d + 300) exp(-g / l),

chi_d the larger differential susceptibility at a part's mean magnetisation, kappa `LOCKING` for
equal faces and `UNLIKE` for others, plus |F_f - F_c|: chosen on one half of a family
drawn by seed and computed with finite elements, and tested on the other half
(`tests/simulation/test_close_accuracy.py`); a fit and no bound. At a point contact u is at most
what saturates the iron there, (B_s/B)^2 - 1 of the pull. Not affected: a soft part near a magnet,
whose field is exact.

*Cells without charges on inner faces* (`magnetics.joint_fluxes`) do not lock. Between flat faces

    u = a |F_f - F_c| + `LEFT` F_f + b exp(-g / (`RIM_REACH` l)) F_m

is then all that the pull is off by, to either side: a = `STEP_ALIKE`, b = 0 for equal faces
opposite each other; a = `STEP_UNLIKE`, b = `RIMS` for others, whose rims over the other's face both
meshes may miss. F_m is what the mean magnetisation of both across the gap would give over the
smaller part (`through`): pulls and pushes of rims cancel in the net, so F_f is no measure of them.
Chosen on 372 forces on two and three coaxial parts at draft, of which these cover 369 (worst: 1.7
u). Points keep the bars of constant cells.
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

FLAT: Final = 0.99
"""Cosine between normals of contacts of one flat face."""


LOCKING: Final = 0.3
"""Share of the pull between equal flat faces that constant cells of high permeability err by."""

ALIKE: Final = 0.03
"""The same of cells without charges on inner faces, whatever the permeability and the gap, where
nothing is known of a second mesh."""

STEP_ALIKE: Final = 0.5
STEP_UNLIKE: Final = 2.0
"""Share of the pull's step between two such meshes that either may be off by beside `LEFT`."""

LEFT: Final = 0.01
"""Share of the pull that both meshes may miss."""

RIMS: Final = 0.8
"""Share of `CloseGap.through` that rims over a face hide where the gap is nothing to a cell."""

RIM_REACH: Final = 0.2
"""Gap over the cells' edge where that is down to 1/e; 0.05 to 0.2 were tried."""

UNLIKE: Final = 0.7
"""The same between flat faces that differ in outline or are not opposite each other."""

PERMEABLE: Final = 300.0
"""Susceptibility at which it is half of that."""

REACH: Final = 1.5
"""Gap over the cells' edge below which a pair is named."""

FINEST: Final = 1e-3
"""Least gap over the cells' edge that is told from contact."""

MATTERS: Final = 0.005
"""Share of the lesser force on the two parts below which an error is not worth a word."""


HIDDEN: Final = 0.3
"""Share of the larger force that may act both ways between flat faces unseen in the net pull."""

TOLD: Final = 0.02
"""Share of the pull that a release speaks of."""

CROWDED: Final = 3.0
"""Most that flux crowding into a point contact multiplies `CloseGap.through` by. Found: crossed
rods 0.3 mm apart 4.3, balls 1.9, where unsaturated; draft cells get twice this."""


@dataclass(frozen=True)
class CloseGap:
    """Two soft bodies, their `gap` [m] and the edge [m] of the larger of the cells at it.

    `flat` where flat faces meet there, `alike` where these are equal and opposite;
    `susceptibility` is the larger chi_d, `filled` |M| over its saturation at the gap; `pull` [N]
    is what is found between them, NaN where nobody asked, and `larger` [N] the larger force on
    either; `point` (3,) [m] the nearest point, world axes. `through` [N] is the pull that the mean
    magnetisation of both across the gap would give over the lesser one's V^(2/3). `continuous`
    where cells have no charges on inner faces.
    """

    first: str
    second: str
    gap: float
    cell: float
    flat: bool = False
    susceptibility: float = np.inf
    pull: float = np.nan
    point: tuple[float, float, float] = (0.0, 0.0, 0.0)
    alike: bool = False
    filled: float = 0.0
    larger: float = 0.0
    through: float = 0.0
    continuous: bool = False

    @property
    def resolved(self) -> bool:
        """Is the pull of these flat faces off by no more than two meshes tell and `ALIKE`?"""
        return self.flat and self.alike and self.continuous

    @property
    def unlocked(self) -> bool:
        """Flat faces of cells without charges on inner faces: `error` is all there is to add."""
        return self.flat and self.continuous

    @property
    def gross(self) -> float:
        """Pull [N] that the share is taken of: where flat faces attract and repel side by side the
        net may be next to nothing, so at least `HIDDEN` of the larger force."""
        return max(self.pull, HIDDEN * self.larger) if self.flat else self.pull

    @property
    def ratio(self) -> float:
        """Gap over cell."""
        return max(self.gap / self.cell, FINEST)

    @property
    def locking(self) -> float:
        """Share of the pull that flat cells err by, a bound by trial."""
        if self.resolved:
            return ALIKE
        chi = self.susceptibility
        high = 1.0 if np.isinf(chi) else chi / (chi + PERMEABLE)
        most = UNLIKE if self.flat and not self.alike else LOCKING
        return float(most * high * np.exp(-self.ratio))

    @property
    def crowding(self) -> float:
        """About how much larger the pull at a point or an edge may be, over what is found.

        At most what brings the iron there to saturation, as the pull goes as B^2, and half as much
        again: cells around the nearest are less full (balls of 1.6 T 0.3 mm apart at draft: 8 % by
        that one, true 10 %).
        """
        return min(float(0.9 * self.ratio**-1.5), 1.5 * self.room)

    @property
    def room(self) -> float:
        """(B_s/B)^2 - 1 of the fuller body at the gap."""
        return float("inf") if self.filled <= 0 else max(0.0, self.filled**-2 - 1)

    def error(self, growth: float) -> float:
        """Return u [N]; `growth` [N] is how far the pull changed from coarse to fine cells."""
        if self.resolved:
            return STEP_ALIKE * growth + LEFT * self.pull
        if self.unlocked:
            rims = RIMS * self.through * float(np.exp(-self.ratio / RIM_REACH))
            return STEP_UNLIKE * growth + LEFT * self.pull + rims
        locked = self.locking * self.gross
        if self.flat:
            return locked + growth
        more = growth * (1 + max(0.0, 1 - float(np.log2(self.ratio))))
        # where neither mesh sees the gap at all they agree on next to nothing
        crowded = CROWDED * self.through * float(np.exp(-3 * self.ratio)) - self.pull
        more = max(more, crowded)
        return locked + min(more, self.room * self.pull + growth)

    def __str__(self) -> str:
        near = f"come within {1e3 * max(self.gap, 0.0):.2g} mm"
        against = f"where their cells are {1e3 * self.cell:.2g} mm"
        pull = "" if np.isnan(self.pull) else f" ({self.pull:.3g} N here)"
        pair = f'"{self.first}" and "{self.second}" {near}, {against}: the pull between them{pull}'
        if self.flat:
            by = (
                f"{self.locking:.0%}"
                if np.isnan(self.pull)
                else f"{self.locking * self.gross:.2g} N"
            )
            if self.resolved:
                return f"{pair} may be up to {by} off"
            if self.alike:
                return f"{pair} may be up to {by} too large, however fine the cells"
            return f"{pair} may be up to {by} off, too small as a rule"
        low = f"{pair} is too small as a rule; the true one may be"
        if self.crowding < 1:
            return f"{low} up to {self.crowding:.0%} larger"
        times = min(round(1 + self.crowding), 20)
        many = f"{times} times" if times < 20 else "many times"
        return f"{low} {many} as large"


class CloseSoftParts:
    """Looks for such gaps in poses of a system; `cells` by the bodies' names, `continuous` where
    these are known to have no charges on inner faces."""

    def __init__(
        self, system: System, cells: Mapping[str, Cells], continuous: bool = False
    ) -> None:
        self._continuous = continuous
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
        reach = REACH * max(float(edge.max()) for edge in self._edges)
        if not (self._geometry.gap_bounds(here) < reach).any():
            return []
        contacts = self._geometry.contacts(here, reach)
        found = []
        for a, b in self._geometry.pairs.tolist():
            mine = np.flatnonzero((contacts.pair == [a, b]).all(axis=1))
            if len(mine):
                nearest = int(mine[np.argmin(contacts.gap[mine])])
                flat = _flat(contacts, mine)
                found += self._judged(a, b, contacts, nearest, flat, here, magnetisation)
        return found

    def _judged(
        self, a: int, b: int, contacts: ContactSet, at: int, flat: bool, pose: Pose,
        m: Mapping[str, Array],
    ) -> list[CloseGap]:  # fmt: skip
        gap, edge, chi, filled = float(contacts.gap[at]), 0.0, 0.0, 0.0
        across, section = 1.0, np.inf
        for i in (a, b):
            body, cells = self._bodies[i], self._cells[i]
            turn = rotations.matrix(pose.quaternion[i])
            point = (contacts.point[at] - pose.position[i]) @ turn
            cell = int(np.argmin(np.sum((cells.position - point) ** 2, axis=1)))
            edge = max(edge, float(self._edges[i][cell]))
            own = m[body.name]
            mean = float(np.linalg.norm(cells.volume @ own) / cells.volume.sum())
            chi = max(chi, differential_susceptibility(body, mean))
            filled = max(filled, float(np.linalg.norm(own[cell]) / saturation(body)))
            whole = float(cells.volume.sum())
            across *= abs(float(turn @ (cells.volume @ own) @ contacts.normal[at])) / whole
            section = min(section, whole ** (2 / 3))
        if gap >= REACH * edge:
            return []
        names = self._bodies[a].name, self._bodies[b].name
        x, y, z = contacts.point[at].tolist()
        alike = flat and self._opposite(a, b, contacts.normal[at], pose, edge)
        return [
            CloseGap(
                *names, gap, edge, flat, chi,
                point=(x, y, z), alike=alike, filled=filled, through=0.5 * MU_0 * across * section,
                continuous=self._continuous,
            )
        ]  # fmt: skip

    def _opposite(self, a: int, b: int, normal: Array, pose: Pose, edge: float) -> bool:
        """Are both one shape, turned alike, and straight across the gap from each other?"""
        one, other = self._bodies[a].shape, self._bodies[b].shape
        if one.kind != other.kind or not np.allclose(one.extents, other.extents, rtol=1e-6):
            return False
        if abs(one.volume / other.volume - 1) > 1e-6:
            return False
        apart = pose.position[b] - pose.position[a]
        aside = float(np.linalg.norm(apart - (apart @ normal) * normal))
        turns = rotations.matrix(pose.quaternion[a]).T @ rotations.matrix(pose.quaternion[b])
        round_ = one.outline is not None and not one.outline.polygon.size
        axes = np.abs(turns.diagonal()[2 if round_ else 0 :])
        square = bool(np.allclose(axes, 1.0, atol=1e-3))
        return aside < 0.1 * edge and square


def differential_susceptibility(body: Body, m: float) -> float:
    """Return dM/dH of a soft body at |M| = m [A/m]; of a table the largest from there on."""
    curve = body.material.curve
    if curve is None:
        return np.inf
    if curve.tabulated:
        own = curve.flux_density / MU_0 - curve.field_strength
        slopes = np.diff(own) / np.diff(curve.field_strength)
        beyond = slopes[own[1:] >= m]
        return float(beyond.max()) if len(beyond) else 0.0
    chi = np.inf if curve.susceptibility is None else curve.susceptibility
    return float(chi * max(0.0, 1 - m / saturation(body)) ** 2)


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
    worst = worst_gap(run)
    return {} if worst is None else {"close_soft_parts": str(worst)}


def worst_gap(run: Trajectory, until: float = np.inf) -> CloseGap | None:
    """Return the gap of a run's frames up to a time [s] that leaves its pull off by most.

    None where the pull is off by less than `TOLD` everywhere.
    """
    looked = CloseSoftParts(run.system, run.cells)
    worst: CloseGap | None = None
    for k in np.flatnonzero(run.time <= until).tolist():
        pose = Pose(run.position[k], run.quaternion[k])
        for one in looked.at(pose, {name: m[k] for name, m in run.magnetisation.items()}):
            if worst is None or _severity(one) > _severity(worst):
                worst = one
    return None if worst is None or _severity(worst) < TOLD else worst


def _severity(gap: CloseGap) -> float:
    return gap.locking if gap.flat else gap.crowding


def _flat(contacts: ContactSet, mine: IntArray) -> bool:
    """Do two flat faces meet: three contacts of one normal that span a face?"""
    normal, point = contacts.normal[mine], contacts.point[mine]
    if len(mine) < 3 or (normal @ normal[0]).min() < FLAT:
        return False
    spans = np.linalg.svd(point - point.mean(axis=0), compute_uv=False)
    return bool(spans[1] > 0.05 * spans[0])
