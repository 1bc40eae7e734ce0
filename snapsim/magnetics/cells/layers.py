"""Hexahedra made by stacking a flat mesh of quadrilaterals in layers along body z."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray


def grid(n: int, m: int) -> IntArray:
    """Return the quadrilaterals (n m, 4) of a grid of (n + 1) x (m + 1) nodes.

    Node (i, j) has number i (m + 1) + j; the loops are counter-clockwise when i runs along x and j
    along y.
    """
    i, j = (a.reshape(-1) for a in np.meshgrid(np.arange(n), np.arange(m), indexing="ij"))
    low, high = i * (m + 1) + j, (i + 1) * (m + 1) + j
    return np.column_stack([low, high, high + 1, low + 1])


def stacked(flat: Array, loops: IntArray, levels: Array) -> tuple[Array, IntArray]:
    """Return corners (p, 3) and cells (c, 8) of the loops (q, 4) on `flat` (k, 2) [m], extruded
    between successive `levels` (l + 1,) [m]."""
    k = len(flat)
    corners = np.column_stack([np.tile(flat, (len(levels), 1)), np.repeat(levels, k)])
    both = np.column_stack([loops, loops + k])
    shift = k * np.arange(len(levels) - 1)
    return corners, (both[None] + shift[:, None, None]).reshape(-1, 8)
