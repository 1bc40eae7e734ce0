"""Two meshes of every soft part, and what they tell of a result's error.

A result q computed on cells of edge h and h/2 has the limit and the error bar

    q_0 = q_f + (q_f - q_c) / (2^p - 1),        u = s |q_0 - q_f| + FLOOR |q_0|,

q_c on the coarse cells, q_f on the fine ones, p the order of the error, the lowest of the soft
parts' (Richardson, Phil. Trans. A 210, 307 (1911); `magnetics.cells`). The bar is Roache's index
of convergence of two meshes, s = 3, put round the limit (J. Fluids Eng. 116, 405 (1994), eqs. 5 and
6); s = 1.5 serves where the coarse mesh has cells enough for p to hold. Both from memory, and s
tried on known answers: cubes, prisms and cylinders from 1:10 to 5:1, spheres, force and torque of
saturating parts near a magnet. The true error was at most 2.1 of |q_0 - q_f| with coarse meshes of
24 to 64 cells and at most 1.1 with 96 and more, where the two meshes differ by more than FLOOR.

*Forces and torques on iron near a pole* (`estimate_loads`) converge more slowly, and always from
below, as cells that cannot follow the field keep the energy too high. With d = q_f - q_c

    q_0 = q_f + m d,        u = s |d| + |q_f - q_r| + FLOOR |q_0|,

m and s of `RATIOS` by how many coarse cells there are and how near an edge of a magnet is, over the
fine cells (`magnet_rims`); q_r is q on the fine cells with the few points of a release, so the
third term is what its rule errs by; within a cell of an edge comes what such cells may miss
however two meshes agree (`Nearness.missed`). The true ratio (q - q_f)/d was 0.25 to 0.99 with 24
coarse cells, 0.23 to 0.49 with 100 and more, and up to 3 within a cell of an edge, on discs and
rings drawn by seed against finite elements (`tests/simulation/test_bars_near_a_pole.py`).

For a vector, |.| is its length and u one number for all components. Assumed: the cells are what
errs most. Not covered: the material's curve, remanence, hysteresis and eddy currents.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, as_floats
from snapsim.magnetics.cells import (
    EXTRAPOLATION_ORDER,
    cells_match,
    extrapolated,
    extrapolation_order,
    refinement_pair,
)
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.product_rule import averaged_finely
from snapsim.simulation.system import System

SAFETY: Final = 1.5
"""Bar over extrapolation step, with at least `ENOUGH` coarse cells in every part."""

SAFETY_COARSE: Final = 3.0
"""The same with fewer."""

ENOUGH: Final = 90

FLOOR: Final = 1e-3
"""Least error bar as a share of the value: a small step between two meshes may be chance."""

RATIOS: Final = {
    (False, True): (0.60, 0.44),
    (False, False): (0.80, 0.70),
    (True, True): (0.38, 0.13),
    (True, False): (0.72, 0.48),
}
"""m and s, by: `ENOUGH` coarse cells in every part; no magnet's edge within a fine cell."""

RATIOS_CONTINUOUS: Final = {
    (False, True): (0.42, 0.55),
    (False, False): (0.50, 0.75),
    (True, True): (0.30, 0.25),
    (True, False): (0.50, 0.75),
}
"""The same for a part alone, whose M has a continuous normal component: errors are a fifth as
large and of either sign. Off edges the ratio was -0.1 to 0.7 at draft, on 105 discs and rings by
finite elements and on 17 tilted parts by the limit of normal cells, but where the step is below 0.7
% (-0.4 to 1.2, which `floor` covers), and 0.1 to 0.5 at normal (0.17 to 0.36 on 16 fresh ones). All
of these are covered at draft, and of 96 forces on other kinds by other magnets, which no constant
was chosen on, 95 with 0.36 +- 0.46 (a washer of 24 coarse cells, whose circles are twelve-sided,
had -0.7); those left 5 of 54 tilted parts off centre outside."""

FLOOR_CONTINUOUS: Final = 3e-3
"""FLOOR of such a part with fewer coarse cells than `ENOUGH`."""

FEW: Final = 20
"""Coarse cells of a piece below which `RATIO_FEW` serves: walls of 3 mm had 8 (m = 1.5 at draft),
an angle 16 (0.56)."""

RATIO_FEW: Final = 0.90, 0.85

RATIO_FEW_CONTINUOUS: Final = 0.45, 0.80
"""The same walls: ratio -0.5 at draft; 16 tees, channels and angles of blocks on one grid -0.3 to
0.45, twelve meshes 0.1 to 1.2."""

RATIO_FEW_SEAMS: Final = 0.7, 1.8
"""The same of a compound whose members' cells do not match where they meet: -1.4 to 2.4 for tees of
two blocks and blocks on rods, most so where chi is over 1 000."""

UNSEEN: Final = {False: 0.05, True: 0.015}
"""Share of the pull between two soft parts that both meshes may miss, by: cells enough."""

UNSEEN_CONTINUOUS: Final = 0.02
"""The same with few cells without charges on inner faces: 56 forces of parts further apart than
their cells' edge were covered with 0."""

EXPECTED_FEW: Final = 0.25, 0.65
"""The same of a part with less than eight times `FEW` cells, of a compound for each member: a box
of walls and an angle at draft. Meshes, which have 104 to 128 cells there, were 1 to 11 % off."""

MISSED_OF_ENERGY: Final = 0.25
"""Share of `Nearness.missed` that an energy may miss."""

EXPECTED: Final = {"draft": (0.06, 0.65), "normal": (0.025, 0.2), "fine": (0.01, 0.08)}
"""By which share a part's force is off at most, mostly low, by detail, before anything is solved:
away from magnets' edges and within a cell of one (of a magnet few cells wide). From the family by
seed."""


@dataclass(frozen=True)
class TwoMeshes:
    """Cells of each soft body, by body number, on a coarse and a fine mesh of one family.

    `order` is the power of the cell size that the error is taken to fall with; `pieces` says how
    many members a body's cells are shared by, where it is a compound. `continuous` says that the
    normal component of M is (`magnetics.continuous_normal`), `seams` that cells of some compound do
    not match where its members meet.
    """

    coarse: Mapping[int, CellMesh]
    fine: Mapping[int, CellMesh]
    order: float = EXTRAPOLATION_ORDER
    pieces: Mapping[int, int] = field(default_factory=dict)
    continuous: bool = False
    seams: bool = False

    @property
    def counts(self) -> tuple[int, int]:
        """Cells of all bodies together, coarse and fine."""
        coarse, fine = (sum(len(m.volume) for m in x.values()) for x in (self.coarse, self.fine))
        return coarse, fine

    @property
    def safety(self) -> float:
        """The factor s."""
        return SAFETY if self.has_enough else SAFETY_COARSE

    @property
    def has_enough(self) -> bool:
        """Has every part at least `ENOUGH` coarse cells?"""
        return self.fewest >= ENOUGH

    @property
    def fewest(self) -> float:
        """Coarse cells of the piece that has the fewest."""
        counts = [len(m.volume) / self.pieces.get(i, 1) for i, m in self.coarse.items()]
        return min(counts, default=float(ENOUGH))

    @property
    def floor(self) -> float:
        """Least bar as a share of a load."""
        return FLOOR_CONTINUOUS if self.continuous and not self.has_enough else FLOOR

    @property
    def unseen(self) -> float:
        """Share of the pull between two parts that both meshes may miss."""
        share = UNSEEN[self.has_enough]
        return min(share, UNSEEN_CONTINUOUS) if self.continuous else share

    def ratios(self, clear: bool) -> tuple[float, float]:
        """m and s; `clear` where no magnet's edge lies within a fine cell."""
        if self.fewest < FEW:
            few = RATIO_FEW_SEAMS if self.seams else RATIO_FEW_CONTINUOUS
            return few if self.continuous else RATIO_FEW
        if self.continuous:
            return RATIOS_CONTINUOUS[self.has_enough, clear]
        return RATIOS[self.has_enough, clear]


@dataclass(frozen=True)
class RefinedEstimate:
    """A quantity's limit of vanishing cells and its error bar, both in the quantity's unit.

    `value` (..., 3) for vectors has one `error` (...) each; scalars have one each.
    """

    value: Array
    error: Array


def expected_low(detail: str | int, cells: int, members: int = 1) -> tuple[float, float]:
    """Return the shares by which a part's force is off at most: off and at a magnet's edge.

    At an edge a lone part of few cells may read high as well as low.

    Told from its cells alone, for parts that come near no other iron; `pose_accuracy` tells it of a
    pose.
    """
    if cells < 8 * FEW * members:
        return EXPECTED_FEW
    if isinstance(detail, str):
        return EXPECTED[detail]
    return EXPECTED["normal" if detail >= 8 * ENOUGH else "draft"]


def two_meshes(system: System) -> TwoMeshes:
    """Return both meshes of all soft parts, magnets that yield included.

    The fine one has about the cells of `detail`.
    """
    pairs = {
        i: refinement_pair(body.shape, system.detail)
        for i, body in enumerate(system.bodies)
        if system.has_cells(body)
    }
    orders = [extrapolation_order(system.bodies[i].shape, system.detail) for i in pairs]
    from snapsim.magnetics.continuous_normal import serves  # SciPy: `check` needs none of it

    return TwoMeshes(
        {i: p[0] for i, p in pairs.items()},
        {i: p[1] for i, p in pairs.items()},
        min(orders, default=EXTRAPOLATION_ORDER),
        {i: max(len(system.bodies[i].shape.members), 1) for i in pairs},
        serves([mesh for pair in pairs.values() for mesh in pair[1:]], system.recoil),
        have_seams(system),
    )


def have_seams(system: System) -> bool:
    """Do cells of some part with cells not match where its members meet?"""
    return any(system.has_cells(body) and not cells_match(body.shape) for body in system.bodies)


def estimate_scalar(coarse: float, fine: float, meshes: TwoMeshes) -> RefinedEstimate:
    """Return limit and error bar of a number."""
    limit = extrapolated(coarse, fine, meshes.order)
    return RefinedEstimate(limit, meshes.safety * np.abs(limit - fine) + FLOOR * np.abs(limit))


def estimate_vectors(coarse: Array, fine: Array, meshes: TwoMeshes) -> RefinedEstimate:
    """Return limits (n, 3) and error bars (n,) of n vectors (n, 3)."""
    limit = extrapolated(coarse, fine, meshes.order)
    step = np.linalg.norm(limit - as_floats(fine), axis=-1)
    return RefinedEstimate(limit, meshes.safety * step + FLOOR * np.linalg.norm(limit, axis=-1))


def estimate_loads(
    coarse: Array, fine: Array, rule: Array, clear: BoolArray, meshes: TwoMeshes
) -> RefinedEstimate:
    """Return limits (n, 3) and bars (n,) of forces or torques (n, 3) on n bodies.

    `rule` (n,) is what the few points of a release err by, `clear` (n,) says that no edge of a
    magnet lies within a fine cell of the body, or of the bodies that act on it.
    """
    ratio = np.array([meshes.ratios(bool(c)) for c in clear]).reshape(-1, 2)
    step = as_floats(fine) - as_floats(coarse)
    limit = fine + ratio[:, :1] * step
    error = ratio[:, 1] * np.linalg.norm(step, axis=-1) + rule
    return RefinedEstimate(limit, error + meshes.floor * np.linalg.norm(limit, axis=-1))


def pull_error(coarse: Array, fine: Array, clear: bool, meshes: TwoMeshes) -> float:
    """Return the bar [N] of a pull (3,) between two soft parts, gaps that hide more left out.

    It may lie near a turning point, where two meshes agree by chance: so a share of it at least.
    """
    step = float(np.linalg.norm(as_floats(fine) - as_floats(coarse)))
    share = FLOOR + meshes.unseen
    return meshes.ratios(clear)[1] * step + share * float(np.linalg.norm(fine))


def estimate_energy(
    coarse: float, fine: float, clear: bool, missed: float, meshes: TwoMeshes
) -> RefinedEstimate:
    """Return limit and bar of a magnetic energy, or of a difference of two, as of a force.

    `missed` is the share of the force that cells may miss where they are nearest to an edge;
    an energy gathers it over the last part of the way only.
    """
    m, s = meshes.ratios(clear)
    step = fine - coarse
    limit = fine + m * step
    error = s * abs(step) + meshes.floor * abs(limit) + MISSED_OF_ENERGY * missed * abs(fine)
    return RefinedEstimate(np.asarray(limit), np.asarray(error))


def refined_finely(meshes: TwoMeshes) -> TwoMeshes:
    """Return the same cells with many points in each (`magnetics.cells.product_rule`)."""
    coarse, fine = (
        {i: averaged_finely(m) for i, m in x.items()} for x in (meshes.coarse, meshes.fine)
    )
    return replace(meshes, coarse=coarse, fine=fine)
