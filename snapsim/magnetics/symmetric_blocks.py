"""A symmetric operator on the cells of several bodies, stored as blocks by mirror symmetry.

y = T^T diag(B_1, ..., B_g) T x for each body: T (orthogonal, see `demagnetization`) sorts the 3c
components of a body into g = 2^k symmetry classes of 3b components, c = g b cells, k mirror planes;
each block B is (3b, 3b). Vectors are (c, 3), the cells of all bodies one after another.

A block's lower triangle alone is stored, row after row, and read once for both halves: the products
are limited by memory, and so take half the time of a general product of BLAS.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.demagnetization import from_classes, to_classes

Buffer = NDArray[Any]
"""Lower triangles of the blocks of all bodies, flat, float64 or float32."""


class Layout(NamedTuple):
    """Where the blocks of n bodies lie.

    `cell` (n + 1,) first cell of each body; `images` (n,) number g of classes; `buffer` (n + 1,)
    first entry of each body's blocks in a flat buffer; `signs` (n, 8, 3) of the reflections.
    """

    cell: IntArray
    images: IntArray
    buffer: IntArray
    signs: Array


def layout(base_cells: Sequence[int], flips: Sequence[Array]) -> Layout:
    """Return the layout of bodies of `base_cells` b each; `flips` the signs (g, 3) of each."""
    images = np.array([len(f) for f in flips], dtype=np.int64)
    base = np.array(base_cells, dtype=np.int64)
    signs = np.ones((len(base_cells), 8, 3))
    for i, given in enumerate(flips):
        signs[i, : len(given)] = given
    triangle = 3 * base * (3 * base + 1) // 2
    return Layout(_starts(images * base), images, _starts(images * triangle), signs)


def _starts(sizes: IntArray) -> IntArray:
    starts = np.zeros(len(sizes) + 1, dtype=np.int64)
    np.cumsum(sizes, out=starts[1:])
    return starts


def buffer(blocks: Sequence[Array], dtype: type = np.float64) -> Buffer:
    """Return the symmetric blocks (g, 3b, 3b) of all bodies as one flat buffer."""
    return np.concatenate([np.empty(0, dtype), *(_triangles(b).astype(dtype) for b in blocks)])


def _triangles(blocks: Array) -> Array:
    """Lower triangles (g n (n + 1) / 2,) of (g, n, n), row after row."""
    lower = np.tri(blocks.shape[-1], dtype=np.bool_)
    return np.concatenate([block[lower] for block in blocks])


@njit(cache=True, error_model="numpy")
def multiply(where: Layout, blocks: Buffer, x: Array, y: Array) -> None:
    """Set `y` (c, 3) to the operator times `x` (c, 3), in the precision of `blocks`."""
    for i in range(where.images.size):
        first, last = where.cell[i], where.cell[i + 1]
        g = where.images[i]
        n = 3 * (last - first) // g
        triangle = n * (n + 1) // 2
        signs = where.signs[i, :g]
        classes = np.empty((g, n))
        to_classes(x[first:last], signs, classes)
        product = np.zeros(n, blocks.dtype)
        for q in range(g):
            start = where.buffer[i] + q * triangle
            block = blocks[start : start + triangle]
            _multiply_triangle(block, classes[q].astype(blocks.dtype), product)
            classes[q] = product
        from_classes(classes, signs, y[first:last])


@njit(cache=True, error_model="numpy", fastmath={"reassoc", "contract", "nsz"})
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
