"""A symmetric operator on the cells of several bodies, stored as blocks by symmetry.

y = T^T diag(B_1, ..., B_g) T x for each body: T (orthogonal, see `demagnetization`) sorts the 3c
components of a body into g = 2^k symmetry classes of 3b components, c = g b cells, k mirror planes;
each block B is (3b, 3b). A body of m equal `sectors` in a quarter has g m blocks of (3b/m, 3b/m),
half of them the same as others. Vectors are (c, 3), the cells of all bodies one after another.

A block's lower triangle alone is stored, row after row, and read once for both halves: large
products are limited by memory, and so take half the time of a general product of BLAS.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.demagnetization import from_classes, to_classes
from snapsim.magnetics.sectors import Sectors, from_waves, to_waves, undivided
from snapsim.numerics.compilation import compiled, summing
from snapsim.numerics.copying import copy

Buffer = NDArray[Any]
"""Lower triangles of the blocks of all bodies, flat, float64 or float32."""


class Layout(NamedTuple):
    """Where the blocks of n bodies lie.

    `cell` (n + 1,) first cell of each body; `images` (n,) number g of classes; `sectors` (n,) their
    number m, 1 for none; `buffer` (n + 1,) first entry of each body's blocks in a flat buffer;
    `block` (n, g m) which of a body's blocks serves which part of its vectors; `signs` (n, 8, 3) of
    the reflections; `place` (n, b), `direction` (n, m, 2) and `waves` (n, 4, m, m) as in
    `Sectors`. The largest body sets the shapes; beyond its own part a row is not read.
    """

    cell: IntArray
    images: IntArray
    sectors: IntArray
    buffer: IntArray
    block: IntArray
    signs: Array
    place: IntArray
    direction: Array
    waves: Array


def layout(
    base_cells: Sequence[int],
    flips: Sequence[Array],
    sectors: Sequence[Sectors | None] | None = None,
) -> Layout:
    """Return the layout of bodies of `base_cells` b each; `flips` the signs (g, 3) of each, and
    `sectors` those of each body whose blocks they split."""
    given = sectors or [None] * len(flips)
    found = [s or undivided(len(f)) for s, f in zip(given, flips, strict=True)]
    images = np.array([len(f) for f in flips], dtype=np.int64)
    base = np.array(base_cells, dtype=np.int64)
    number = np.array([s.count for s in found], dtype=np.int64)
    stored = np.array([s.block.max() + 1 for s in found], dtype=np.int64)
    order = 3 * base // number
    return Layout(
        cell=_starts(images * base),
        images=images,
        sectors=number,
        buffer=_starts(stored * (order * (order + 1) // 2)),
        block=_rows([s.block for s in found], 1).astype(np.int64),
        signs=_rows(flips, 2),
        place=_rows([s.place for s in found], 1).astype(np.int64),
        direction=_rows([s.direction for s in found], 2),
        waves=_rows([s.waves for s in found], 3),
    )


def _rows(parts: Sequence[NDArray[Any]], axes: int) -> Array:
    """Stack arrays of `axes` axes, filled with zeros to the largest."""
    shape = np.max([part.shape for part in parts], axis=0) if parts else (0,) * axes
    rows = np.zeros((len(parts), *shape))
    for row, part in zip(rows, parts, strict=True):
        row[tuple(slice(0, size) for size in part.shape)] = part
    return rows


def _starts(sizes: IntArray) -> IntArray:
    starts = np.zeros(len(sizes) + 1, dtype=np.int64)
    np.cumsum(sizes, out=starts[1:])
    return starts


def buffer(blocks: Sequence[Array], dtype: type = np.float64) -> Buffer:
    """Return the symmetric blocks (k, n, n) of all bodies as one flat buffer."""
    return np.concatenate([np.empty(0, dtype), *(_triangles(b).astype(dtype) for b in blocks)])


def _triangles(blocks: Array) -> Array:
    """Lower triangles (k n (n + 1) / 2,) of (k, n, n), row after row."""
    lower = np.tri(blocks.shape[-1], dtype=np.bool_)
    return np.concatenate([block[lower] for block in blocks])


@compiled
def multiply(where: Layout, blocks: Buffer, x: Array, y: Array) -> None:
    """Set `y` (c, 3) to the operator times `x` (c, 3), in the precision of `blocks`."""
    for i in range(where.images.size):
        first, last = where.cell[i], where.cell[i + 1]
        g, m = where.images[i], where.sectors[i]
        n = 3 * (last - first) // (g * m)
        signs = where.signs[i, :g]
        classes = np.empty((g, m * n))
        parts = classes.reshape(g, m, n)
        to_classes(x[first:last], signs, classes)
        if m > 1:
            parts = np.empty((g, m, n))
            to_waves(classes, where.place[i], where.direction[i], where.waves[i], parts)
        _multiply_parts(blocks[where.buffer[i] : where.buffer[i + 1]], where.block[i], parts)
        if m > 1:
            from_waves(parts, where.place[i], where.direction[i], where.waves[i], classes)
        from_classes(classes, signs, y[first:last])


@compiled
def _multiply_parts(blocks: Buffer, which: IntArray, parts: Array) -> None:
    """Multiply each of the parts (g, m, n) by its block."""
    g, m, n = parts.shape
    triangle = n * (n + 1) // 2
    x, y = np.empty(n, blocks.dtype), np.empty(n, blocks.dtype)
    for q in range(g):
        for w in range(m):
            start = which[q * m + w] * triangle
            copy(parts[q, w], x)
            _multiply_triangle(blocks[start : start + triangle], x, y)
            copy(y, parts[q, w])


@summing
def _multiply_triangle(lower: Buffer, x: Buffer, y: Buffer) -> None:
    """Set `y` (n,) to the symmetric matrix of that lower triangle times `x` (n,).

    Two rows at a time, so that x and y are passed over half as often.
    """
    n = len(x)
    f, at = n % 2, n % 2
    if f == 1:
        y[0] = lower[0] * x[0]
    while f < n:
        upper, under = lower[at : at + f + 1], lower[at + f + 1 : at + 2 * f + 3]
        a, b = x[f], x[f + 1]
        s = upper[f] * a + under[f] * b
        t = under[f] * a + under[f + 1] * b
        for g in range(f):
            u, v = upper[g], under[g]
            s += u * x[g]
            t += v * x[g]
            y[g] += u * a + v * b
        y[f], y[f + 1] = s, t
        at += 2 * f + 3
        f += 2
