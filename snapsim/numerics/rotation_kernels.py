"""Compiled kernels of `rotations`, where the formulas have their source."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import compiled


@compiled
def advanced(quaternion: Array, turn: Array) -> Array:
    """Return unit quaternions (n, 4) turned further by rotation vectors `turn` (n, 3) [rad]."""
    step = np.empty((len(turn), 4))
    for i in range(len(turn)):
        angle = np.sqrt(turn[i, 0] ** 2 + turn[i, 1] ** 2 + turn[i, 2] ** 2)
        half = 0.5 * angle
        share = 0.5 if half < 1e-8 else np.sin(half) / angle
        step[i, 0] = np.cos(half)
        for k in range(3):
            step[i, k + 1] = share * turn[i, k]
    after = products(step, quaternion)
    for i in range(len(turn)):
        w, x, y, z = after[i, 0], after[i, 1], after[i, 2], after[i, 3]
        length = np.sqrt(w * w + x * x + y * y + z * z)
        for k in range(4):
            after[i, k] /= length
    return after


@compiled
def products(p: Array, q: Array) -> Array:
    """Return p q (n, 4) each."""
    product = np.empty_like(p)
    for i in range(len(p)):
        a, b, c, d = p[i, 0], p[i, 1], p[i, 2], p[i, 3]
        w, x, y, z = q[i, 0], q[i, 1], q[i, 2], q[i, 3]
        product[i, 0] = a * w - b * x - c * y - d * z
        product[i, 1] = a * x + b * w + c * z - d * y
        product[i, 2] = a * y + c * w + d * x - b * z
        product[i, 3] = a * z + d * w + b * y - c * x
    return product


@compiled
def matrices(quaternion: Array) -> Array:
    """Return matrices (n, 3, 3) of unit quaternions (n, 4)."""
    turns = np.empty((len(quaternion), 3, 3))
    for i in range(len(quaternion)):
        q = quaternion[i]
        w, x, y, z = q[0], q[1], q[2], q[3]
        turns[i, 0, 0], turns[i, 0, 1] = 1 - 2 * (y * y + z * z), 2 * (x * y - w * z)
        turns[i, 0, 2], turns[i, 1, 0] = 2 * (x * z + w * y), 2 * (x * y + w * z)
        turns[i, 1, 1], turns[i, 1, 2] = 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)
        turns[i, 2, 0], turns[i, 2, 1] = 2 * (x * z - w * y), 2 * (y * z + w * x)
        turns[i, 2, 2] = 1 - 2 * (x * x + y * y)
    return turns
