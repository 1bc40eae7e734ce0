"""A symmetric operator on the cells of several bodies, stored as blocks by mirror symmetry.

y = T^T diag(B_1, ..., B_g) T x for each body: T (orthogonal, see `demagnetization`) sorts the 3c
components of a body into g = 2^k symmetry classes of 3b components, c = g b cells, k mirror planes;
each block B is (3b, 3b). Vectors are (c, 3), the cells of all bodies one after another.

The products go through BLAS. Blocks of this size run slower on several BLAS threads, and results
would depend on their number: set OPENBLAS_NUM_THREADS=1 (OMP_NUM_THREADS=1 for other libraries)
before numpy or scipy is first imported, and run releases side by side instead.
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
"""Blocks of all bodies, flat, float64 or float32."""


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
    return Layout(_starts(images * base), images, _starts(images * (3 * base) ** 2), signs)


def _starts(sizes: IntArray) -> IntArray:
    starts = np.zeros(len(sizes) + 1, dtype=np.int64)
    np.cumsum(sizes, out=starts[1:])
    return starts


def buffer(blocks: Sequence[Array], dtype: type = np.float64) -> Buffer:
    """Return the blocks (g, 3b, 3b) of all bodies as one flat buffer."""
    return np.concatenate(
        [np.empty(0, dtype), *(np.ascontiguousarray(b, dtype=dtype).ravel() for b in blocks)]
    )


@njit(cache=True, error_model="numpy")
def multiply(where: Layout, blocks: Buffer, x: Array, y: Array) -> None:
    """Set `y` (c, 3) to the operator times `x` (c, 3)."""
    for i in range(where.images.size):
        first, last = where.cell[i], where.cell[i + 1]
        g = where.images[i]
        n = 3 * (last - first) // g
        signs = where.signs[i, :g]
        classes = np.empty((g, n))
        to_classes(x[first:last], signs, classes)
        for q in range(g):
            start = where.buffer[i] + q * n * n
            block = blocks[start : start + n * n].reshape(n, n)
            classes[q] = np.dot(block, classes[q].astype(blocks.dtype))
        from_classes(classes, signs, y[first:last])
