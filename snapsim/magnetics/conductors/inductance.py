"""Partial inductances of cells: what the currents of one do to those of another.

    E = 1/2 sum over cells c, d of J_c . J_d  L_cd,      L_cd = mu0/(4 pi) int_c int_d dV dV' / r

J (3,) [A/m^2] even in each cell; L (c, c) [H m^4], V^2/r of far cells. Near ones are taken as
bricks of the same second moments along the first one's axes, for which

    1/r = (2/sqrt pi) int_0^inf exp(-s^2 r^2) ds

splits the double volume integral into a product of three known ones (Boys, Proc. R. Soc. A 200, 542
(1950), from memory), summed by the trapezoid rule over ln s. Equal cells in a sheet: means over
both bricks take sinc^2 of a wave's k h/2 off, over one of them sinc, so twice the one less the
other errs by (k h)^4 only. Source of E: Jackson, Classical Electrodynamics, 3rd ed., section 5.17
(from memory).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import erf

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.conductors.hexahedra import gauss_points

NEAR: Final = 3.0
"""Distance over the larger cell's size below which cells are bricks: beyond, 1/r errs by 0.5 %."""

STEP: Final = 0.25
"""Step of the sum in ln s."""

SCALES: Final = np.exp(np.arange(np.log(1e-5), np.log(2e3), STEP))
"""Values of s [1/m] times the cells' size at which the integrand is summed."""


def partial_inductances(mesh: CellMesh, thin: int | None = None) -> Array:
    """Return L (c, c) [H m^4] of a mesh's cells; `thin` is the axis across a wall of equal ones."""
    axes, width = _bricks(mesh)
    apart = mesh.centre[:, None] - mesh.centre[None]
    distance = np.linalg.norm(apart, axis=2)
    size = np.linalg.norm(width, axis=1)
    near = distance < NEAR * np.maximum(size[:, None], size[None])
    inverse = np.divide(1.0, distance, out=np.zeros_like(distance), where=~near)
    one, two = np.nonzero(near)
    pairs = _Pairs(*_seen_from(axes, width, apart, one, two))
    inverse[one, two] = pairs.mean_inverse(range(3))
    if thin is not None:
        inverse[one, two] = 2 * pairs.mean_inverse((thin,)) - inverse[one, two]
    inverse = 0.5 * (inverse + inverse.T)
    found: Array = MU_0 / (4 * np.pi) * mesh.volume[:, None] * mesh.volume * inverse
    return found


def _bricks(mesh: CellMesh) -> tuple[Array, Array]:
    """Axes (c, 3, 3), in rows, and widths (c, 3) [m] of the bricks that cells are taken as."""
    corner = mesh.corners[mesh.cells]
    edges = [
        ((1, 2, 5, 6), (0, 3, 4, 7)),
        ((2, 3, 6, 7), (0, 1, 4, 5)),
        ((4, 5, 6, 7), (0, 1, 2, 3)),
    ]
    along = np.stack(
        [corner[:, a].mean(axis=1) - corner[:, b].mean(axis=1) for a, b in edges], axis=1
    )
    u, _, v = np.linalg.svd(along)
    axes = u @ v
    second = _second_moments(corner, mesh.centre)
    spread = np.einsum("cki,cij,ckj->ck", axes, second, axes)
    width = np.sqrt(12 * np.maximum(spread, 1e-300))
    return axes, width * np.cbrt(mesh.volume / width.prod(axis=1))[:, None]


def _second_moments(corner: Array, centre: Array) -> Array:
    """Second moments (c, 3, 3) [m^2] of hexahedra (c, 8, 3) about their centres (c, 3)."""
    place, weight = gauss_points(corner)
    off = place - centre[:, None]
    found = np.einsum("cq,cqi,cqj->cij", weight, off, off)
    mean: Array = found / weight.sum(axis=1)[:, None, None]
    return mean


def _seen_from(
    axes: Array, width: Array, apart: Array, one: IntArray, two: IntArray
) -> tuple[Array, Array, Array]:
    """Offsets of cells `two` from cells `one` (k,) and both widths, on the axes of `one`."""
    turn = np.einsum("kij,klj->kil", axes[one], axes[two])
    other = np.sqrt(np.einsum("kil,kl->ki", turn**2, width[two] ** 2))
    return np.einsum("kij,kj->ki", axes[one], apart[two, one]), width[one], other


@dataclass(frozen=True)
class _Pairs:
    """Pairs of bricks with parallel sides: `offset`, widths `one` and `two`, all (k, 3) [m]."""

    offset: Array
    one: Array
    two: Array

    def mean_inverse(self, whole: Collection[int]) -> Array:
        """Return means (k,) [1/m] of 1/r over the first brick and, along `whole` axes, over the
        second; along the others it is in the second's middle."""
        scale = np.cbrt(self.one.prod(axis=1))
        total = np.zeros(len(scale))
        for step in SCALES:
            s = step / scale
            share = s.copy()
            for axis in range(3):
                offset, one = self.offset[:, axis], self.one[:, axis]
                if axis in whole:
                    share *= _mean_of_both(offset, one, self.two[:, axis], s)
                else:
                    share *= _mean_of_one(offset, one, s)
            total += share
        found: Array = 2 / np.sqrt(np.pi) * STEP * total
        return found


def _mean_of_one(offset: Array, one: Array, s: Array) -> Array:
    """Means of exp(-s^2 (x - offset)^2) over x in [-one/2, one/2]."""
    found = erf(s * (offset + 0.5 * one)) - erf(s * (offset - 0.5 * one))
    mean: Array = found * np.sqrt(np.pi) / (2 * s * one)
    return mean


def _mean_of_both(offset: Array, one: Array, two: Array, s: Array) -> Array:
    """Means of exp(-s^2 (x - y)^2) over x in [-one/2, one/2] and y in offset + [-two/2, two/2]."""
    half, less = 0.5 * (one + two), 0.5 * (one - two)
    found = _twice_integrated(offset + half, s) + _twice_integrated(offset - half, s)
    found -= _twice_integrated(offset + less, s) + _twice_integrated(offset - less, s)
    mean: Array = found / (one * two)
    return mean


def _twice_integrated(y: Array, s: Array) -> Array:
    """A function of y whose second derivative is exp(-s^2 y^2)."""
    x = s * y
    found: Array = (np.sqrt(np.pi) * x * erf(x) + np.expm1(-(x**2))) / (2 * s**2)
    return found
