"""Magnetic force and torque: the exact gradient of the discrete energy at fixed magnetisation.

    F = mu_0 sum_i v_i sum_q w_iq (grad h)^T(x_iq) M_i
    T = mu_0 sum_i v_i [ sum_q w_iq (x_iq - c) x (grad h)^T(x_iq) M_i + M_i x h_i ]

F (3,) [N] and T (3,) [N m] about c (3,); M (n, 3) [A/m] world axes; v (n,) [m^3]; x (n, q, 3) [m]
and w (n, q) the very points and weights that average h on a cell, h_i = sum_q w_iq h(x_iq); grad h
(n q, 3, 3), dh_k/dx_l [A/m^2]. Since the energy is stationary in M (envelope theorem) this is
-dE/d(pose) to first order in the residual, and work equals energy lost on any mesh.

Assumptions: rigid bodies, h from currents or magnets outside the body. Source: Kelvin force on
magnetised matter, Melcher, Continuum Electromechanics, 1981, section 3.6 (from memory).
"""

from __future__ import annotations

from numba import njit

from snapsim.arrays import Array
from snapsim.constants import MU_0


@njit(cache=True, error_model="numpy")
def place(rotation: Array, centre: Array, points: Array, placed: Array) -> None:
    """Set `placed` (k, 3) to body `points` (k, 3) [m] in world axes; `rotation` (3, 3)."""
    for k in range(points.shape[0]):
        for a in range(3):
            placed[k, a] = (
                centre[a]
                + rotation[a, 0] * points[k, 0]
                + rotation[a, 1] * points[k, 1]
                + rotation[a, 2] * points[k, 2]
            )


@njit(cache=True, error_model="numpy")
def turn(rotation: Array, vectors: Array, turned: Array) -> None:
    """Set `turned` (n, 3) to rotation @ vector."""
    for i in range(vectors.shape[0]):
        for a in range(3):
            turned[i, a] = (
                rotation[a, 0] * vectors[i, 0]
                + rotation[a, 1] * vectors[i, 1]
                + rotation[a, 2] * vectors[i, 2]
            )


@njit(cache=True, error_model="numpy")
def average(weights: Array, field: Array, mean: Array) -> None:
    """Set `mean` (n, 3) to the average on each cell of `field` (n q, 3)."""
    q = weights.shape[1]
    for i in range(weights.shape[0]):
        for a in range(3):
            total = 0.0
            for k in range(q):
                total += weights[i, k] * field[i * q + k, a]
            mean[i, a] = total


@njit(cache=True, error_model="numpy")
def force_and_torque(
    weights: Array,
    volume: Array,
    points: Array,
    centre: Array,
    m: Array,
    mean: Array,
    gradient: Array,
    wrench: Array,
) -> None:
    """Set `wrench` (6,) to F [N] and T [N m] about `centre`.

    `points` (n q, 3) and `centre` (3,) world, `m` and `mean` = h_i (n, 3) world [A/m], `gradient`
    (n q, 3, 3) [A/m^2].
    """
    q = weights.shape[1]
    wrench[:] = 0.0
    for i in range(weights.shape[0]):
        m0, m1, m2 = m[i, 0], m[i, 1], m[i, 2]
        for k in range(i * q, i * q + q):
            w = MU_0 * volume[i] * weights[i, k - i * q]
            f0 = w * (gradient[k, 0, 0] * m0 + gradient[k, 1, 0] * m1 + gradient[k, 2, 0] * m2)
            f1 = w * (gradient[k, 0, 1] * m0 + gradient[k, 1, 1] * m1 + gradient[k, 2, 1] * m2)
            f2 = w * (gradient[k, 0, 2] * m0 + gradient[k, 1, 2] * m1 + gradient[k, 2, 2] * m2)
            d0, d1, d2 = (
                points[k, 0] - centre[0],
                points[k, 1] - centre[1],
                points[k, 2] - centre[2],
            )
            wrench[0] += f0
            wrench[1] += f1
            wrench[2] += f2
            wrench[3] += d1 * f2 - d2 * f1
            wrench[4] += d2 * f0 - d0 * f2
            wrench[5] += d0 * f1 - d1 * f0
        scale = MU_0 * volume[i]
        wrench[3] += scale * (m1 * mean[i, 2] - m2 * mean[i, 1])
        wrench[4] += scale * (m2 * mean[i, 0] - m0 * mean[i, 2])
        wrench[5] += scale * (m0 * mean[i, 1] - m1 * mean[i, 0])
