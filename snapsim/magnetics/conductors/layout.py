"""Cells for currents: equal ones, as few across a thin wall as its field needs.

Plates, blocks and tubes have cells of their own. A field averaged over cells loses the square of
their size; what that takes is given back by differences to the neighbours, (1 - d^2/24) of the
currents, so that the fourth power is left (`UNEVEN`) and fields finer than a cell are smoothed
rather than met by chance. Other shapes have the cells of `magnetics.cells`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics import cells
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.ring import equal_area
from snapsim.magnetics.conductors.hexahedra import gauss_points
from snapsim.parts.shapes import Box, Ring, Shape

LEAST_TURN: Final = 12
"""Cells round a tube, at least."""

LONGEST: Final = 0.4
"""Length of a tube's cells over its radius, at most: a magnet on the axis is then dragged by 1.5 %
too little, by 3 % where they are half a radius long and by 10 % where nine tenths."""

MOST: Final = 900
"""Cells of a tube, at most, that has more than asked for to keep them so short."""

SLOWER: Final = 1.5
"""Length of a tube's cells round it over that along it: magnets in it move along its axis."""

CORNERWISE: Final = np.array([(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)]) / np.sqrt(12)
"""Where a cell is looked at, in shares of its edges from its middle: exact to second order."""

CROSSWISE: Final = np.array([(1, 0, 1), (1, 0, -1), (-1, 0, 1), (-1, 0, -1)]) / np.sqrt(12)
"""The same of a tube's, in the middle as seen along its turns: on the circle."""


UNEVEN: Final = 0.1
"""e of `network` in a wall of one layer, and in tubes: enough that no currents within cells are
free of heat. In blocks of several layers it would make up to 6 % too much drag."""


@dataclass(frozen=True)
class ConductorCells:
    """Cells of a conductor. Where they are equal ones of this module, `grid` has their number along
    each axis (the last runs fastest), `thin` the axis across the wall, and `averaged` those along
    which it takes the mean of a field; elsewhere `thin` is None. `uneven` is e of `network`."""

    mesh: CellMesh
    thin: int | None = None
    grid: tuple[int, int, int] = (0, 0, 0)
    averaged: tuple[int, ...] = ()
    uneven: float = 1.0

    def sharpened(self, density: Array) -> Array:
        """Return currents (3 c, k) such that the mean of a field over cells drives them as the
        field itself does. They have no sources either, so that the gradient of a potential drives
        nothing: past an end the component across it goes on as odd, the others as even.
        """
        if not self.averaged:
            return density
        found = density.reshape(*self.grid, 3, -1)
        for axis in self.averaged:
            across = np.arange(3) == axis
            found = found - _bend(np.moveaxis(found, axis, 0), across, axis) / 24
        return found.reshape(density.shape)


def _bend(density: Array, across: Array, axis: int) -> Array:
    """Second differences along the first axis of currents (n, ..., 3, k), that axis put back at
    `axis`; `across` (3,) is true of the component that ends at both ends."""
    ghost = np.where(across, -1.0, 1.0)[:, None]
    ends = density[:1] * ghost, density, density[-1:] * ghost
    return np.moveaxis(np.diff(np.concatenate(ends), n=2, axis=0), 0, axis)


def conductor_cells(shape: Shape, count: int) -> ConductorCells:
    """Return about `count` cells of a shape, body axes [m]."""
    shape = shape.simplest
    if isinstance(shape, Box):
        return _brick_cells(np.array(shape.size), count)
    if isinstance(shape, Ring):
        return _tube_cells(shape, count)
    return ConductorCells(cells.mesh(shape, count))


def has_equal_cells(shape: Shape) -> bool:
    """Return whether a shape has the cells of this module, on which a thin wall's currents are of
    fourth order; on others a disc 135 times as wide as thick is dragged 17 % too little."""
    return isinstance(shape.simplest, Box | Ring)


def too_long(shape: Ring) -> bool:
    """Return whether the `MOST` cells of a tube are longer than half its radius."""
    return shape.length * LEAST_TURN > MOST * 0.25 * shape.outer_diameter


def _brick_cells(size: Array, count: int) -> ConductorCells:
    number = _divided(size, count)
    axes = [np.linspace(-s / 2, s / 2, n + 1) for s, n in zip(size, number, strict=True)]
    corners = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    thin = int(np.argmin(size))
    uneven = UNEVEN if number[thin] == 1 else 1.0
    return ConductorCells(_cut(corners, CORNERWISE), thin, _grid(corners), (0, 1, 2), uneven)


def _grid(corners: Array) -> tuple[int, int, int]:
    one, two, three = (n - 1 for n in corners.shape[:3])
    return one, two, three


def _tube_cells(shape: Ring, count: int) -> ConductorCells:
    outer, inner = shape.outer_diameter / 2, shape.inner_diameter / 2
    round_it = np.pi * (outer + inner)
    size = np.array([outer - inner, round_it / SLOWER, shape.length])
    across, turn, along = _divided(size, count)
    if turn < LEAST_TURN:
        turn = LEAST_TURN
        across, along = _divided(size[[0, 2]], count / turn)
    fine = int(np.ceil(shape.length / (LONGEST * outer)))
    along = max(int(along), min(fine, MOST // int(turn * across)))
    angle = 2 * np.pi * np.arange(turn + 1) / turn
    stretch = float(equal_area(int(turn)))
    radius = np.linspace(inner, outer, across + 1) * stretch
    height = np.linspace(-shape.length / 2, shape.length / 2, along + 1)
    flat = radius[:, None, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    corners = np.empty((across + 1, turn + 1, along + 1, 3))
    corners[..., :2], corners[..., 2] = flat[:, :, None], height
    mesh = _cut(corners, CROSSWISE)
    # chords of a circle's area lie inside it in their middle: the field is taken on the circle
    length = np.linalg.norm(mesh.points[..., :2], axis=2, keepdims=True)
    mesh.points[..., :2] /= stretch * np.cos(np.pi / turn) * length / length
    return ConductorCells(mesh, 0, _grid(corners), (2,), UNEVEN)


def _divided(size: Array, count: float) -> IntArray:
    """How often each side is cut for about `count` cells of equal sides."""
    low, high = float(size.min()) / count, float(size.max())
    for _ in range(60):
        length = np.sqrt(low * high)
        many = np.maximum(np.rint(size / length), 1).prod() > count
        low, high = (length, high) if many else (low, length)
    number: IntArray = np.maximum(np.rint(size / high), 1).astype(np.int64)
    return number


def _cut(corners: Array, looked_at: Array) -> CellMesh:
    """The cells between corners (i, j, k, 3) of a grid, with points at the shares `looked_at`
    (q, 3) of their edges."""
    count = np.array(corners.shape[:3])
    number = np.arange(count.prod()).reshape(count)
    shifts = [
        (0, 0, 0),
        (1, 0, 0),
        (1, 1, 0),
        (0, 1, 0),
        (0, 0, 1),
        (1, 0, 1),
        (1, 1, 1),
        (0, 1, 1),
    ]
    picked = [
        number[tuple(slice(s, n - 1 + s) for s, n in zip(shift, count, strict=True))].ravel()
        for shift in shifts
    ]
    hexahedra, flat = np.stack(picked, axis=1), corners.reshape(-1, 3)
    corner = flat[hexahedra]
    far = np.array(shifts) * 2 - 1
    edges = np.einsum("na,cni->cai", far / 4, corner)
    centre = corner.mean(axis=1)
    points = centre[:, None] + looked_at @ edges
    _, volume = gauss_points(corner)
    weights = np.full(points.shape[:2], 1.0 / len(looked_at))
    return CellMesh(flat, hexahedra, (), volume.sum(axis=1), centre, points, weights)
