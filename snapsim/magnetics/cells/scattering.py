"""Points spread with a wanted spacing, the base of meshes of triangles and tetrahedra.

Candidates are taken in turn and kept unless a kept one is nearer than the spacing there (dart
throwing; Cook, ACM Trans. Graph. 5, 51 (1986); from memory). Delaunay's triangulation of such
points has no very flat triangles. The same input gives the same points.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array

FINE: Final = 0.3
"""Spacing of candidates over the least wanted spacing."""

JITTER: Final = 0.15
"""How far candidates of a lattice are moved at random, over their spacing."""


def spread(fixed: Array, candidates: Array, spacing: Array) -> Array:
    """Return the candidates (k, d) kept, none nearer than its `spacing` (n,) [m] to a kept or a
    `fixed` (m, d) one; `candidates` (n, d), earlier ones first."""
    from scipy.spatial import cKDTree  # slow to import, needed for drawn shapes alone

    if not len(candidates):
        return candidates
    alive = np.ones(len(candidates), dtype=bool)
    if len(fixed):
        alive = cKDTree(fixed).query(candidates)[0] >= spacing
    tree = cKDTree(candidates)
    kept = []
    for k in range(len(candidates)):
        if alive[k]:
            kept.append(k)
            near = np.array(tree.query_ball_point(candidates[k], spacing[k]))
            away = np.linalg.norm(candidates[near] - candidates[k], axis=1)
            alive[near[away < spacing[near]]] = False
    return candidates[kept]


def lattice(low: Array, high: Array, step: float) -> Array:
    """Return a jittered square or cubic lattice (n, d) over the box, from its middle outward."""
    axes = [np.arange(a + step / 2, b, step) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(low))
    shift = np.random.default_rng(0).uniform(-JITTER, JITTER, points.shape)
    return np.asarray(points + step * shift)
