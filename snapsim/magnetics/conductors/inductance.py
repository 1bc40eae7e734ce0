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
from dataclasses import dataclass, replace
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
    bricks = bricks_of(mesh, thin)
    inverse = _mean_inverses(bricks, bricks)
    return _weighed(bricks, bricks, 0.5 * (inverse + inverse.T))


def mutual_inductances(one: Bricks, two: Bricks) -> Array:
    """Return L (c, d) [H m^4] between the cells of two bodies, in the same frame."""
    inverse = 0.5 * (_mean_inverses(one, two) + _mean_inverses(two, one).T)
    return _weighed(one, two, inverse)


@dataclass(frozen=True)
class Bricks:
    """What c cells are taken as: `centre` (c, 3) [m], `axes` (c, 3, 3), in rows, `width` (c, 3) [m]
    along these, `volume` (c,) [m^3]; `thin` is the axis across a wall of equal cells."""

    centre: Array
    axes: Array
    width: Array
    volume: Array
    thin: int | None

    def placed(self, position: Array, turn: Array) -> Bricks:
        """Return them in a frame in which the body is turned (3, 3) and then at `position` (3,)."""
        return replace(self, centre=self.centre @ turn.T + position, axes=self.axes @ turn.T)


def bricks_of(mesh: CellMesh, thin: int | None = None) -> Bricks:
    """Return the bricks of a mesh's cells."""
    return Bricks(mesh.centre, *_bricks(mesh), mesh.volume, thin)


def _weighed(one: Bricks, two: Bricks, inverse: Array) -> Array:
    found: Array = MU_0 / (4 * np.pi) * one.volume[:, None] * two.volume * inverse
    return found


def _mean_inverses(one: Bricks, two: Bricks) -> Array:
    """Means (c, d) [1/m] of 1/r between cells, near ones as seen from the first."""
    apart = two.centre[None] - one.centre[:, None]
    distance = np.linalg.norm(apart, axis=2)
    size, other = (np.linalg.norm(b.width, axis=1) for b in (one, two))
    near = distance < NEAR * np.maximum(size[:, None], other[None])
    inverse = np.divide(1.0, distance, out=np.zeros_like(distance), where=~near)
    i, j = np.nonzero(near)
    if not len(i):
        return np.asarray(inverse)
    pairs = _Pairs(*_seen_from(one, two, i, j))
    inverse[i, j] = pairs.mean_inverse(range(3))
    if one.thin is not None and two.thin is not None:
        inverse[i, j] = 2 * pairs.mean_inverse((one.thin,)) - inverse[i, j]
    return np.asarray(inverse)


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


def _seen_from(one: Bricks, two: Bricks, i: IntArray, j: IntArray) -> tuple[Array, Array, Array]:
    """Offsets of cells `j` of two from `i` of one (k,) and both widths, on the axes of one."""
    axes = one.axes[i]
    turn = np.einsum("kij,klj->kil", axes, two.axes[j])
    other = np.sqrt(np.einsum("kil,kl->ki", turn**2, two.width[j] ** 2))
    away = two.centre[j] - one.centre[i]
    return np.einsum("kij,kj->ki", axes, away), one.width[i], other


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
