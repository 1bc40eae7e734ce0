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
third term is what its rule errs by. The true ratio (q - q_f)/d was 0.25 to 0.99 with 24 coarse
cells, 0.23 to 0.49 with 100 and more, and up to 1.44 within a cell of an edge, on discs and rings
drawn by seed against finite elements (`tests/simulation/test_bars_near_a_pole.py`).

For a vector, |.| is its length and u one number for all components. Assumed: the cells are what
errs most. Not covered: the material's curve, remanence, hysteresis and eddy currents.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, as_floats
from snapsim.magnetics.cells import (
    EXTRAPOLATION_ORDER,
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
    (True, True): (0.37, 0.18),
    (True, False): (0.75, 0.50),
}
"""m and s, by: `ENOUGH` coarse cells in every part; no magnet's edge within a fine cell."""


@dataclass(frozen=True)
class TwoMeshes:
    """Cells of each soft body, by body number, on a coarse and a fine mesh of one family.

    `order` is the power of the cell size that the error is taken to fall with.
    """

    coarse: Mapping[int, CellMesh]
    fine: Mapping[int, CellMesh]
    order: float = EXTRAPOLATION_ORDER

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
        return min((len(m.volume) for m in self.coarse.values()), default=ENOUGH) >= ENOUGH


@dataclass(frozen=True)
class RefinedEstimate:
    """A quantity's limit of vanishing cells and its error bar, both in the quantity's unit.

    `value` (..., 3) for vectors has one `error` (...) each; scalars have one each.
    """

    value: Array
    error: Array


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
    return TwoMeshes(
        {i: p[0] for i, p in pairs.items()},
        {i: p[1] for i, p in pairs.items()},
        min(orders, default=EXTRAPOLATION_ORDER),
    )


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
    coarse: Array, fine: Array, rough: Array, clear: BoolArray, meshes: TwoMeshes
) -> RefinedEstimate:
    """Return limits (n, 3) and bars (n,) of forces or torques (n, 3) on n bodies.

    `rough` (n, 3) on the fine cells with a release's few points, `clear` (n,) says that no edge of
    a magnet lies within a fine cell of the body, or of the bodies that act on it.
    """
    ratio = np.array([RATIOS[meshes.has_enough, bool(c)] for c in clear]).reshape(-1, 2)
    step = as_floats(fine) - as_floats(coarse)
    limit = fine + ratio[:, :1] * step
    error = ratio[:, 1] * np.linalg.norm(step, axis=-1) + np.linalg.norm(fine - rough, axis=-1)
    return RefinedEstimate(limit, error + FLOOR * np.linalg.norm(limit, axis=-1))


def estimate_energy(coarse: float, fine: float, clear: bool, meshes: TwoMeshes) -> RefinedEstimate:
    """Return limit and bar of a magnetic energy, or of a difference of two, as of a force."""
    m, s = RATIOS[meshes.has_enough, clear]
    limit = np.asarray(fine + m * (fine - coarse))
    return RefinedEstimate(limit, s * np.abs(fine - coarse) + FLOOR * np.abs(limit))


def refined_finely(meshes: TwoMeshes) -> TwoMeshes:
    """Return the same cells with many points in each (`magnetics.cells.product_rule`)."""
    coarse, fine = (
        {i: averaged_finely(m) for i, m in x.items()} for x in (meshes.coarse, meshes.fine)
    )
    return TwoMeshes(coarse, fine, meshes.order)
