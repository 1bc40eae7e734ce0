"""Contact frames and the Delassus operator: what an impulse at one contact does at another.

    u = G v,      u' - u = W p,      W = G M^-1 G^T                    [1/kg]

v (6n,) velocities and spins, u (3c,) velocities of a relative to b at the contacts in the local
axes (normal n from b into a, two tangents), p (3c,) impulses on a in the same axes, G the contact
Jacobian with rows e.(v_a + w_a x r_a) - e.(v_b + w_b x r_b), M the mass matrix. W is symmetric and
positive semidefinite; a fixed body enters with inverse mass and inverse inertia zero. Valid at a
fixed pose. Source: Brogliato, Nonsmooth Mechanics, 3rd ed. 2016, section 5.4 (from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics.compilation import bare, compiled


@compiled
def contact_frames(normal: Array) -> Array:
    """Return right-handed frames (c, 3, 3) with rows n, t1, t2 for unit normals (c, 3)."""
    frame = np.empty((normal.shape[0], 3, 3))
    for k in range(normal.shape[0]):
        n = normal[k]
        least = 0
        for i in range(1, 3):
            if abs(n[i]) < abs(n[least]):
                least = i
        length = np.sqrt(max(1.0 - n[least] * n[least], 1e-300))
        for i in range(3):
            frame[k, 0, i] = n[i]
            frame[k, 1, i] = -n[least] * n[i] / length
        frame[k, 1, least] += 1.0 / length
        _cross(n, frame[k, 1], frame[k, 2])
    return frame


@bare
def _cross(a: Array, b: Array, out: Array) -> None:
    """Write a x b into `out` (3,)."""
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]


@compiled
def contact_jacobian(position: Array, pair: IntArray, point: Array, frame: Array) -> Array:
    """Return G as (c, 2, 3, 6): contact, body (a or b), local axis, velocity then spin."""
    jacobian = np.empty((pair.shape[0], 2, 3, 6))
    arm, turn = np.empty(3), np.empty(3)
    for k in range(pair.shape[0]):
        for side in range(2):
            sign = 1.0 - 2.0 * side
            for i in range(3):
                arm[i] = point[k, i] - position[pair[k, side], i]
            for axis in range(3):
                _cross(arm, frame[k, axis], turn)
                for i in range(3):
                    jacobian[k, side, axis, i] = sign * frame[k, axis, i]
                    jacobian[k, side, axis, 3 + i] = sign * turn[i]
    return jacobian


@compiled
def impulse_response(
    inverse_mass: Array, inverse_inertia: Array, pair: IntArray, jacobian: Array
) -> Array:
    """Return M^-1 G^T as (c, 2, 3, 6): change of velocity and spin by each unit impulse."""
    response = np.empty(jacobian.shape)
    for k in range(pair.shape[0]):
        for side in range(2):
            body = pair[k, side]
            for axis in range(3):
                row = jacobian[k, side, axis]
                for i in range(3):
                    total = 0.0
                    for j in range(3):
                        total += inverse_inertia[body, i, j] * row[3 + j]
                    response[k, side, axis, i] = inverse_mass[body] * row[i]
                    response[k, side, axis, 3 + i] = total
    return response


@compiled
def delassus_operator(pair: IntArray, jacobian: Array, response: Array) -> Array:
    """Return W (3c, 3c), symmetric to the last bit [1/kg]."""
    count = pair.shape[0]
    operator = np.zeros((3 * count, 3 * count))
    for k in range(count):
        for m in range(k + 1):
            for s in range(2):
                for t in range(2):
                    if pair[k, s] == pair[m, t]:
                        _add_block(operator, k, m, jacobian[k, s], response[m, t])
    for i in range(3 * count):
        for j in range(i + 1, 3 * count):
            operator[i, j] = operator[j, i]
    return operator


@bare
def _add_block(operator: Array, k: int, m: int, rows: Array, columns: Array) -> None:
    """Add the (3, 3) block of contacts k and m that one shared body contributes."""
    for i in range(3):
        for j in range(3):
            total = 0.0
            for x in range(6):
                total += rows[i, x] * columns[j, x]
            operator[3 * k + i, 3 * m + j] += total


@compiled
def contact_velocity(velocity: Array, spin: Array, pair: IntArray, jacobian: Array) -> Array:
    """Return u (3c,): velocity of a relative to b at each contact, local axes [m/s]."""
    u = np.zeros(3 * pair.shape[0])
    for k in range(pair.shape[0]):
        for side in range(2):
            body = pair[k, side]
            for axis in range(3):
                row = jacobian[k, side, axis]
                for i in range(3):
                    u[3 * k + axis] += row[i] * velocity[body, i] + row[3 + i] * spin[body, i]
    return u


@bare
def apply_impulse(
    velocity: Array, spin: Array, pair: IntArray, response: Array, impulse: Array
) -> None:
    """Add M^-1 G^T p to `velocity` and `spin` (n, 3) in place, p = `impulse` (3c,) local."""
    for k in range(pair.shape[0]):
        for side in range(2):
            body = pair[k, side]
            for axis in range(3):
                size = impulse[3 * k + axis]
                for i in range(3):
                    velocity[body, i] += size * response[k, side, axis, i]
                    spin[body, i] += size * response[k, side, axis, 3 + i]


@compiled
def to_world(frame: Array, local: Array) -> Array:
    """Return local vectors (3c,) as world vectors (c, 3)."""
    world = np.zeros((frame.shape[0], 3))
    for k in range(frame.shape[0]):
        for axis in range(3):
            for i in range(3):
                world[k, i] += frame[k, axis, i] * local[3 * k + axis]
    return world
