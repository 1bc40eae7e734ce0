"""Hexahedra between a surface of few triangles and a centre that sees all of it.

Each triangle and the centre make a tetrahedron; it is cut into four blocks, one a corner, by the
middles of its edges, faces and body, and each block into n^3 hexahedra. Neighbours share faces. In
barycentric coordinates (s from the centre, 0, to the surface, 1; m_i in the triangle, adding up to
1) nodes are drawn toward the surface, s -> (1 - g) s + g sin(pi s / 2), and toward its edges,
m_i -> m_i^p over the sum.
"""

from __future__ import annotations

from itertools import product
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray

GRADING: Final = 0.85
SHARPNESS: Final = 1.7


def cells(
    corners: Array, triangles: IntArray, n: int, grading: float = GRADING, p: float = SHARPNESS
) -> tuple[Array, IntArray]:
    """Return nodes (k, 3) [m] and cells (12 m n^3 / 3, 8) of a surface about the origin.

    `corners` (c, 3) [m], outward `triangles` (m, 3).
    """
    weights = _blocks(n)  # (4, n + 1, n + 1, n + 1, 4)
    local = weights.reshape(-1, 4)
    graded = _graded(local, grading, p)
    number: dict[tuple[tuple[int, int], ...], int] = {}
    places: list[Array] = []
    bricks = _bricks(n)
    found = []
    exact = np.round(local * 1e9).astype(np.int64).tolist()
    for triangle in triangles.tolist():
        names = (-1, *triangle)
        around = np.vstack([np.zeros(3), corners[triangle]])
        at = graded @ around
        ids = np.empty(len(local), dtype=np.int64)
        for k, row in enumerate(exact):
            key = tuple(sorted((v, w) for v, w in zip(names, row, strict=True) if w))
            ids[k] = number.setdefault(key, len(places))
            if ids[k] == len(places):
                places.append(at[k])
        found.append(ids[bricks])
    return np.array(places), np.concatenate(found)


def _blocks(n: int) -> Array:
    """Barycentric coordinates of the nodes of the four blocks; vertex 0 is the centre."""
    t = np.arange(n + 1) / n
    u = np.stack(np.meshgrid(t, t, t, indexing="ij"), axis=-1)
    blocks = np.zeros((4, n + 1, n + 1, n + 1, 4))
    for i, order in enumerate(_ORDERS):
        for chosen in product((0, 1), repeat=3):
            corner = np.zeros(4)
            corner[[i, *(j for j, c in zip(order, chosen, strict=True) if c)]] = 1
            share = np.prod(np.where(chosen, u, 1 - u), axis=-1)
            blocks[i] += share[..., None] * corner / corner.sum()
    return blocks


_ORDERS: Final = ((1, 2, 3), (0, 3, 2), (0, 1, 3), (0, 2, 1))
"""The other vertices of each block's vertex, right-handed for an outward triangle."""


def _graded(weights: Array, grading: float, p: float) -> Array:
    """Draw barycentric coordinates (k, 4) toward the surface and its edges."""
    s = 1 - weights[:, :1]
    inside = np.where(s > 1e-12, weights[:, 1:] / np.where(s > 1e-12, s, 1), 1 / 3) ** p
    inside /= inside.sum(axis=1, keepdims=True)
    moved = (1 - grading) * s + grading * np.sin(np.pi / 2 * s)
    return np.concatenate([1 - moved, moved * inside], axis=1)


def _bricks(n: int) -> IntArray:
    """Node numbers (4 n^3, 8) of the cells of the four blocks."""
    number = np.arange(4 * (n + 1) ** 3).reshape(4, n + 1, n + 1, n + 1)
    loop = [
        number[:, :-1, :-1], number[:, 1:, :-1], number[:, 1:, 1:], number[:, :-1, 1:]
    ]  # fmt: skip
    both = [a[..., :-1] for a in loop] + [a[..., 1:] for a in loop]
    return np.stack([a.ravel() for a in both], axis=1)
