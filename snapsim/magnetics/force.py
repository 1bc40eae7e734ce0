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

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.magnetics.sources.evaluation import add_one
from snapsim.numerics.compilation import bare, compiled


@bare
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


@bare
def turn(rotation: Array, vectors: Array, turned: Array) -> None:
    """Set `turned` (n, 3) to rotation @ vector."""
    for i in range(vectors.shape[0]):
        for a in range(3):
            turned[i, a] = (
                rotation[a, 0] * vectors[i, 0]
                + rotation[a, 1] * vectors[i, 1]
                + rotation[a, 2] * vectors[i, 2]
            )


@bare
def average(weights: Array, field: Array, mean: Array) -> None:
    """Set `mean` (n, 3) to the average on each cell of `field` (n q, 3)."""
    q = weights.shape[1]
    for i in range(weights.shape[0]):
        for a in range(3):
            total = 0.0
            for k in range(q):
                total += weights[i, k] * field[i * q + k, a]
            mean[i, a] = total


@bare
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


@compiled
def field_on_cells(
    codes: IntArray, starts: IntArray, parameters: Array, magnetisations: Array, bodies: IntArray,
    position: Array, quaternion: Array, turns: Array, body: int,
    weights: Array, volume: Array, points: Array, background: Array, own: Array,
    placed: Array, means: Array, gradients: Array, load: Array,
) -> None:  # fmt: skip
    """Set the field of all magnets (`MagnetSet`; `bodies` (k,) theirs) on the cells of `body`.

    `position` (n, 3), `quaternion` (n, 4) and `turns` (n, 3, 3) of all bodies; `points` (c q, 3)
    [m] and `own` (c, 3) [A/m] in body axes, `background` (3,) [A/m] in world axes. Sets `placed`
    (c q, 3) world, a magnet's `means` (k, c, 3) and `gradients` (k, c q, 3, 3) world, and `load`
    v h (c, 3) [A m^2] in body axes. A magnet does not act on its own cells.
    """
    turn, h = turns[body], np.empty_like(points)
    place(turn, position[body], points, placed)
    for i in range(len(volume)):
        for a in range(3):
            load[i, a] = background[a]
    for k in range(len(codes)):
        if bodies[k] == body:
            continue
        h[:] = 0.0
        gradients[k] = 0.0
        par, at = parameters[starts[k] : starts[k + 1]], bodies[k]
        add_one(
            codes[k], par, magnetisations[k], position[at], quaternion[at], placed, h, gradients[k]
        )
        average(weights, h, means[k])
        for i in range(len(volume)):
            for a in range(3):
                load[i, a] += means[k, i, a]
    for i in range(len(volume)):
        x, y, z = load[i, 0], load[i, 1], load[i, 2]
        for a in range(3):
            inside = turn[0, a] * x + turn[1, a] * y + turn[2, a] * z + own[i, a]
            load[i, a] = volume[i] * inside


@compiled
def forces_on_cells(
    bodies: IntArray, position: Array, turns: Array, body: int, weights: Array, volume: Array,
    background: Array, placed: Array, means: Array, gradients: Array, m: Array,
    force: Array, torque: Array,
) -> None:  # fmt: skip
    """Add to `force` and `torque` (n, 3) what magnets and cells of `body` do to each other.

    `m` (c, 3) [A/m] in body axes, the rest as in `field_on_cells`; each magnet gets the exact
    opposite, about its own centre.
    """
    turned, acting = np.empty_like(m), np.empty(6)
    turn(turns[body], m, turned)
    for k in range(len(bodies)):
        if bodies[k] == body:
            continue
        force_and_torque(
            weights, volume, placed, position[body], turned, means[k], gradients[k], acting
        )
        add_both(position, body, bodies[k], acting, force, torque)
    x, y, z = 0.0, 0.0, 0.0
    for i in range(len(volume)):
        x += MU_0 * volume[i] * turned[i, 0]
        y += MU_0 * volume[i] * turned[i, 1]
        z += MU_0 * volume[i] * turned[i, 2]
    torque[body, 0] += y * background[2] - z * background[1]
    torque[body, 1] += z * background[0] - x * background[2]
    torque[body, 2] += x * background[1] - y * background[0]


@bare
def add_both(
    position: Array, on: int, source: int, acting: Array, force: Array, torque: Array
) -> None:
    """Add the wrench `acting` (6,) on body `on` about its centre, and its opposite on `source`."""
    dx, dy, dz = (
        position[on, 0] - position[source, 0],
        position[on, 1] - position[source, 1],
        position[on, 2] - position[source, 2],
    )
    fx, fy, fz = acting[0], acting[1], acting[2]
    for a in range(3):
        force[on, a] += acting[a]
        force[source, a] -= acting[a]
        torque[on, a] += acting[3 + a]
    torque[source, 0] -= acting[3] + (dy * fz - dz * fy)
    torque[source, 1] -= acting[4] + (dz * fx - dx * fz)
    torque[source, 2] -= acting[5] + (dx * fy - dy * fx)
