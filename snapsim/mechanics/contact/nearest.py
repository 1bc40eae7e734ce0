"""The nearest points of two solids, from the curves of each against the other's signed distance.

gap = min over curves c of A of min_t f(t), and the same with A and B exchanged (see `curves`).
Positive values are the distance of the solids. Where they overlap the result is the deepest curve
point, which shows that they overlap but not by how much: `overlap` measures that. The axis of a
hollow solid says nothing of another solid that lies inside its bore, and is passed over there.

A result is one row: GAP [m], NORMAL (3, unit, from B into A), SURFACE (3, a point on the surface of
the solid that owns the curve), OWNER (0 for A, 1 for B), LINKED (1 where one solid reaches into
the other's bore); world axes, origin at B's centre.
"""

from __future__ import annotations

from math import cos, sin

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact.curves import (
    CIRCLE,
    CORE,
    CURVE_SIZE,
    OFFSET,
    ROLE,
    SAMPLES,
    SCALE,
    SORT,
    along,
    curve_count,
    floor_of,
    minima,
    place,
    write_curve,
)
from snapsim.mechanics.contact.solids import BORE, RADIUS
from snapsim.numerics.compilation import bare, compiled

GAP, NORMAL, SURFACE, OWNER, LINKED, RESULT_SIZE = 0, 1, 4, 7, 8, 9


@compiled
def nearest(a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, best: Array) -> float:
    """Write the nearest points into `best` (RESULT_SIZE,); returns the raw gap [m].

    `turn_a`, `turn_b` (3, 3) are body to world, `offset` (3,) is A's centre less B's.
    """
    turn, shift, other = np.empty((3, 3)), np.empty(3), np.empty(RESULT_SIZE)
    best[GAP], best[OWNER], best[LINKED] = np.inf, 0.0, 0.0
    relative(turn_a, turn_b, offset, 1.0, turn, shift)
    _one_sided(a, b, turn, shift, best)
    other[GAP], other[OWNER], other[LINKED] = best[GAP], 1.0, best[LINKED]
    relative(turn_b, turn_a, offset, -1.0, turn, shift)
    _one_sided(b, a, turn, shift, other)
    if other[GAP] < best[GAP]:
        best[:] = other
        rotate(turn_a, best[SURFACE:OWNER])
        rotate(turn_a, best[NORMAL:SURFACE])
        best[SURFACE:OWNER] += offset
        best[NORMAL:SURFACE] *= -1.0
    else:
        rotate(turn_b, best[SURFACE:OWNER])
        rotate(turn_b, best[NORMAL:SURFACE])
        best[LINKED] = other[LINKED]
    return float(best[GAP])


@bare
def relative(
    turn_from: Array, turn_to: Array, offset: Array, sign: float, turn: Array, shift: Array
) -> None:
    """Write the motion from one body's axes to another's; sign * offset is from less to."""
    for i in range(3):
        shift[i] = 0.0
        for k in range(3):
            shift[i] += sign * turn_to[k, i] * offset[k]
        for j in range(3):
            turn[i, j] = 0.0
            for k in range(3):
                turn[i, j] += turn_to[k, i] * turn_from[k, j]


@bare
def rotate(turn: Array, vector: Array) -> None:
    """Turn a vector (3,) in place."""
    x, y, z = vector[0], vector[1], vector[2]
    for i in range(3):
        vector[i] = turn[i, 0] * x + turn[i, 1] * y + turn[i, 2] * z


@compiled
def _one_sided(owner: Array, other: Array, turn: Array, shift: Array, best: Array) -> None:
    """Improve `best` by the owner's curves against the other solid, in the other's axes."""
    curves, found = np.empty((curve_count(owner), CURVE_SIZE)), np.empty(SAMPLES)
    for k in range(len(curves)):
        write_curve(owner, k, curves[k])
        place(curves[k], turn, shift)
        if curves[k, ROLE] != CORE:
            _try(other, curves[k], 0.0, best)
    for k in range(len(curves)):
        curve = curves[k]
        if curve[SCALE] > 0.0 and floor_of(other, curve) < best[GAP]:
            hollow = curve[ROLE] == CORE and owner[BORE] > 0.0
            deepest = 0.999 * (owner[BORE] - owner[RADIUS])
            for i in range(minima(other, curve, best[GAP], not hollow, found)):
                if hollow and along(other, curve, found[i])[0] <= deepest:
                    best[LINKED] = 1.0
                else:
                    _try(other, curve, found[i], best)


@bare
def _try(other: Array, curve: Array, t: float, best: Array) -> None:
    """Keep the curve's point at `t` if it is nearer than the best so far."""
    f, _, gx, gy, gz = along(other, curve, t)
    if f < best[GAP]:
        best[GAP], best[NORMAL], best[NORMAL + 1], best[NORMAL + 2] = f, gx, gy, gz
        write_surface_point(curve, t, best[NORMAL:SURFACE], best[SURFACE:OWNER])


@bare
def write_surface_point(curve: Array, t: float, gradient: Array, point: Array) -> None:
    """Write the owner's surface point: the curve's point less the offset along the gradient."""
    c, s = (cos(t), sin(t)) if curve[SORT] == CIRCLE else (t, 0.0)
    for i in range(3):
        point[i] = curve[1 + i] + c * curve[4 + i] + s * curve[7 + i] - curve[OFFSET] * gradient[i]
