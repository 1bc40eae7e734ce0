"""Unit quaternions, scalar first (w, x, y, z), turning body vectors into world vectors.

Rotation matrices and the kinematic equation dq/dt = 1/2 (0, omega) q (omega in world axes) follow
Goldstein, Poole & Safko, Classical Mechanics, 3rd ed., sections 4.5 and 4.9 (from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, ArrayLike, as_floats
from snapsim.numerics.compilation import compiled

IDENTITY: Array = np.array([1.0, 0.0, 0.0, 0.0])


def normalise(quaternion: ArrayLike) -> Array:
    """Return unit quaternions of the same shape (..., 4); raises ValueError on a zero one."""
    q = as_floats(quaternion)
    length = np.linalg.norm(q, axis=-1, keepdims=True)
    if not np.all(length > 0):
        raise ValueError("a quaternion of zero length is no rotation")
    unit: Array = q / length
    return unit


def from_axis_angle(axis: ArrayLike, angle: float) -> Array:
    """Return the quaternion (4,) that turns by `angle` [rad] about `axis` (3,), right-handed."""
    n = as_floats(axis)
    n = n / np.linalg.norm(n)
    return np.concatenate([[np.cos(angle / 2)], np.sin(angle / 2) * n])


def from_rotation_vector(vector: ArrayLike) -> Array:
    """Return the quaternion (4,) of a rotation vector (3,) [rad]; smooth through zero."""
    turned: Array = advanced(IDENTITY[None], as_floats(vector)[None])[0]
    return turned


def multiply(a: ArrayLike, b: ArrayLike) -> Array:
    """Return the product a b (..., 4): first b turns, then a."""
    p, q = as_floats(a), as_floats(b)
    if p.shape != q.shape:
        p, q = np.broadcast_arrays(p, q)
    shape = p.shape
    flat = np.ascontiguousarray(p).reshape(-1, 4), np.ascontiguousarray(q).reshape(-1, 4)
    product: Array = _products(*flat).reshape(shape)
    return product


def conjugate(quaternion: ArrayLike) -> Array:
    """Return the inverse rotation (..., 4)."""
    inverse: Array = as_floats(quaternion) * np.array([1.0, -1.0, -1.0, -1.0])
    return inverse


def matrix(quaternion: ArrayLike) -> Array:
    """Return matrices R (..., 3, 3), world = R @ body, of unit quaternions (..., 4)."""
    q = as_floats(quaternion)
    turns: Array = _matrices(np.ascontiguousarray(q).reshape(-1, 4)).reshape(*q.shape[:-1], 3, 3)
    return turns


def rotate(quaternion: ArrayLike, vectors: ArrayLike) -> Array:
    """Return body vectors (..., 3) turned into world axes."""
    turned: Array = np.einsum("...ij,...j->...i", matrix(quaternion), as_floats(vectors))
    return turned


def rotate_back(quaternion: ArrayLike, vectors: ArrayLike) -> Array:
    """Return world vectors (..., 3) turned into body axes."""
    turned: Array = np.einsum("...ji,...j->...i", matrix(quaternion), as_floats(vectors))
    return turned


def derivative(quaternion: ArrayLike, spin: ArrayLike) -> Array:
    """Return dq/dt (..., 4) for a spin (..., 3) [rad/s] in world axes."""
    w = as_floats(spin)
    rate: Array = 0.5 * multiply(np.concatenate([0 * w[..., :1], w], axis=-1), quaternion)
    return rate


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
    after = _products(step, quaternion)
    for i in range(len(turn)):
        length = np.sqrt(np.sum(after[i] ** 2))
        for k in range(4):
            after[i, k] /= length
    return after


@compiled
def _products(p: Array, q: Array) -> Array:
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
def _matrices(quaternion: Array) -> Array:
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
