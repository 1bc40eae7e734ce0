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

For a vector, |.| is its length and u one number for all components. Assumed: the cells are what
errs most. Not covered: the material's curve, remanence, hysteresis and eddy currents.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, as_floats
from snapsim.magnetics.cells import (
    EXTRAPOLATION_ORDER,
    extrapolated,
    extrapolation_order,
    refinement_pair,
)
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.simulation.system import System

SAFETY: Final = 1.5
"""Bar over extrapolation step, with at least `ENOUGH` coarse cells in every part."""

SAFETY_COARSE: Final = 3.0
"""The same with fewer."""

ENOUGH: Final = 90

FLOOR: Final = 1e-3
"""Least error bar as a share of the value: a small step between two meshes may be chance."""


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
        fewest = min((len(m.volume) for m in self.coarse.values()), default=ENOUGH)
        return SAFETY if fewest >= ENOUGH else SAFETY_COARSE


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
