"""How far two solids that touch or overlap must be moved apart, and along which direction.

    clearance(n) = min over A of x.n - max over B of x.n      (convex hulls, n from B into A)

A positive clearance proves the hulls disjoint, its maximum over n is their distance, and -clearance
is the translation along n that parts them; the smallest of these is the depth of the overlap
(separating axes; Ericson, Real-Time Collision Detection, 2005, chapters 4 and 5, from memory).
Contacts that touch or overlap slightly are then computed on the pair moved apart by a hair along
that direction, where nearest points are unique and normals well defined, and the gap is set back
by the known motion: exact for faces, edges, balls and walls, with an error of second order in a
millionth of the size for crossing rims.

The direction is the raw normal if its clearance confirms it, else the best face normal, else that
of first contact when A is driven back along a line from afar (Newton on a convex function, which
cannot overshoot), repeated along the normal found. A contact inside a bore has no separating plane;
there the raw result stands, after a check for overlap by descent on d_A(x) + d_B(x), which is
negative only inside both solids. Two hollow solids of which one reaches into the other's bore can
cut through each other's walls with no curve of either inside the other: then lines down the middle
of one wall are tried as well, WALL_LINES of them.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import polyhedron
from snapsim.mechanics.contact.curves import (
    CENTRE,
    CURVE_SIZE,
    SAMPLES,
    SCALE,
    U,
    along,
    minima,
    place,
)
from snapsim.mechanics.contact.nearest import (
    GAP,
    LINKED,
    NORMAL,
    OWNER,
    RESULT_SIZE,
    SURFACE,
    nearest,
    relative,
)
from snapsim.mechanics.contact.solids import (
    BALL,
    BORE,
    FIRST,
    HALF,
    KIND,
    PER_SIDE,
    POLYHEDRON,
    RADIUS,
    REACH,
    ROUND,
    SIDE_X,
    SIDE_Y,
    SIDES,
    signed_distance,
    support,
)
from snapsim.numerics.compilation import bare, compiled

HAIR = 1e-6
TOUCHING = 1e-12
PERPENDICULAR = 1e-4
SHALLOW = 1e-3
WALL_LINES = 48


@bare
def clearance(a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, n: Array) -> float:
    """Return the clearance of the hulls along the unit vector `n` (3,), world axes [m]."""
    total = 0.0
    for i in range(3):
        total += offset[i] * n[i]
    ax, ay, az = into_body(turn_a, n)
    bx, by, bz = into_body(turn_b, n)
    return total - support(a, -ax, -ay, -az) - support(b, bx, by, bz)


@bare
def into_body(turn: Array, n: Array) -> tuple[float, float, float]:
    """Return a world vector (3,) in body axes."""
    return (
        turn[0, 0] * n[0] + turn[1, 0] * n[1] + turn[2, 0] * n[2],
        turn[0, 1] * n[0] + turn[1, 1] * n[1] + turn[2, 1] * n[2],
        turn[0, 2] * n[0] + turn[1, 2] * n[1] + turn[2, 2] * n[2],
    )


@compiled
def gap_of(a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array) -> float:
    """Return the signed gap [m]: distance, or minus the depth of the overlap."""
    found, direction = np.empty(RESULT_SIZE), np.empty(3)
    raw = nearest(a, b, turn_a, turn_b, offset, found)
    if found[LINKED] == 1.0 and a[BORE] > 0.0 and b[BORE] > 0.0:
        raw = min(raw, _wall_depth(a, b, turn_a, turn_b, offset))
    if raw > TOUCHING * min(a[REACH], b[REACH]):
        return raw
    hair = part(a, b, turn_a, turn_b, offset, found, direction)
    if hair == 0.0:
        gap = _shared_depth(a, b, turn_a, turn_b, offset, found)
    else:
        gap = nearest(a, b, turn_a, turn_b, offset + hair * direction, found)
        gap -= hair * _dot(found[NORMAL:SURFACE], direction)
    clear = clearance(a, b, turn_a, turn_b, offset, direction)
    return max(min(raw, gap), clear)


@compiled
def part(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, found: Array, direction: Array
) -> float:
    """Write the parting direction (3,) for the nearest points `found`; returns how far to move A.

    0 means that the pair needs no parting, or that none exists (a contact inside a bore).
    """
    size = min(a[REACH], b[REACH])
    hair, raw = HAIR * size, found[GAP]
    direction[:] = found[NORMAL:SURFACE]
    clear = clearance(a, b, turn_a, turn_b, offset, direction)
    if clear < raw - hair or clear < -SHALLOW * size:
        clear = _best_face(a, b, turn_a, turn_b, offset, clear, direction)
        if clear < -10.0 * hair:
            bored = a[BORE] > 0.0 or b[BORE] > 0.0
            if bored and _is_local(a, b, turn_a, turn_b, offset, found):
                return 0.0
            clear = _drive_back(a, b, turn_a, turn_b, offset, clear, direction)
            if bored and clear < -SHALLOW * size:
                return _open_locally(a, b, turn_a, turn_b, offset, found, direction)
    return float(max(hair - clear, 0.0))


@compiled
def _best_face(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, clear: float, best: Array
) -> float:
    """Improve `best`, of clearance `clear`, by face normals and directions of the centres."""
    clear = _better(a, b, turn_a, turn_b, offset, _unit(offset), clear, best)
    for which in range(2):
        solid, turn = (a, turn_a) if which == 0 else (b, turn_b)
        centre = -offset if which == 0 else offset
        x, y, z = into_body(turn, centre)
        _, gx, gy, gz = signed_distance(solid, x, y, z)
        n = turn[:, 0] * gx + turn[:, 1] * gy + turn[:, 2] * gz
        clear = _better(a, b, turn_a, turn_b, offset, n, clear, best)
        if solid[KIND] == POLYHEDRON:
            for k in range(int(solid[FIRST + polyhedron.FACES])):
                gx, gy, gz, _ = polyhedron.plane(solid[FIRST:], k)
                n = turn[:, 0] * gx + turn[:, 1] * gy + turn[:, 2] * gz
                clear = _better(a, b, turn_a, turn_b, offset, n, clear, best)
        elif solid[KIND] != BALL:
            clear = _better(a, b, turn_a, turn_b, offset, turn[:, 2].copy(), clear, best)
        for k in range(int(solid[SIDES])):
            at = FIRST + PER_SIDE * k
            n = turn[:, 0] * solid[at + 3] - turn[:, 1] * solid[at + 2]
            clear = _better(a, b, turn_a, turn_b, offset, n, clear, best)
    return clear


@compiled
def _better(
    a: Array,
    b: Array,
    turn_a: Array,
    turn_b: Array,
    offset: Array,
    n: Array,
    clear: float,
    best: Array,
) -> float:
    """Put n or -n into `best` if its clearance is larger; returns the larger one."""
    if _dot(n, offset) < 0.0:
        n = -n
    found = clearance(a, b, turn_a, turn_b, offset, n)
    if found > clear:
        best[:] = n
        return found
    return clear


@compiled
def _unit(vector: Array) -> Array:
    length = sqrt(_dot(vector, vector))
    return vector / length if length > 0.0 else np.array([0.0, 0.0, 1.0])


@bare
def _dot(u: Array, v: Array) -> float:
    return float(u[0] * v[0] + u[1] * v[1] + u[2] * v[2])


@compiled
def _drive_back(
    a: Array,
    b: Array,
    turn_a: Array,
    turn_b: Array,
    offset: Array,
    clear: float,
    direction: Array,
) -> float:
    """Improve `direction`, of clearance `clear`, by first contacts of the hulls driven along it."""
    ha, hb = a.copy(), b.copy()
    ha[BORE], hb[BORE] = 0.0, 0.0
    found, n = np.empty(RESULT_SIZE), direction.copy()
    hair = HAIR * min(a[REACH], b[REACH])
    for _ in range(6):
        s = 10.0 * hair - clearance(a, b, turn_a, turn_b, offset, n)
        for _ in range(40):
            gap = nearest(ha, hb, turn_a, turn_b, offset + s * n, found)
            rate = _dot(found[NORMAL:SURFACE], n)
            if gap < 2.0 * hair or rate <= 0.0:
                break
            s -= (gap - hair) / rate
        better = clearance(a, b, turn_a, turn_b, offset, found[NORMAL:SURFACE])
        if better <= clear + 1e-3 * hair:
            break
        clear = better
        n[:] = found[NORMAL:SURFACE]
    direction[:] = n
    return clear


@compiled
def _open_locally(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, found: Array, direction: Array
) -> float:
    """Write the direction in which the solids themselves, not their hulls, part soonest; how far.

    A is moved along the raw normal until it is clear; the normal there, of an edge that crosses a
    bore's rim say, leads out on a shorter way. 0 where nothing within SHALLOW of the size parts.
    """
    size = min(a[REACH], b[REACH])
    hair, moved = HAIR * size, np.empty(RESULT_SIZE)
    n, far = found[NORMAL:SURFACE].copy(), np.inf
    for _ in range(6):
        s = hair - min(found[GAP], 0.0)
        while nearest(a, b, turn_a, turn_b, offset + s * n, moved) < hair:
            s *= 2.0
            if s > 0.1 * size:
                break
        for _ in range(20):
            gap, rate = moved[GAP], _dot(moved[NORMAL:SURFACE], n)
            if gap < 2.0 * hair or rate <= 0.0:
                break
            s -= (gap - hair) / rate
            nearest(a, b, turn_a, turn_b, offset + s * n, moved)
        if moved[GAP] <= 0.0 or s >= far:
            break
        direction[:], far = n, s
        n[:] = moved[NORMAL:SURFACE]
    return far if far < SHALLOW * size else 0.0


@compiled
def _is_local(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, found: Array
) -> bool:
    """Is the normal perpendicular to the owner's surface, as at a true nearest point?"""
    owner, turn, sign = (a, turn_a, -1.0) if found[OWNER] == 0.0 else (b, turn_b, 1.0)
    step = HAIR * min(a[REACH], b[REACH])
    x = found[SURFACE:OWNER] + sign * step * found[NORMAL:SURFACE]
    if found[OWNER] == 0.0:
        x -= offset
    px, py, pz = into_body(turn, x)
    away: bool = signed_distance(owner, px, py, pz)[0] >= (1.0 - PERPENDICULAR) * step
    return away


@compiled
def _shared_depth(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, found: Array
) -> float:
    """Return the lowest d_A + d_B [m] met going down its slope from the point found; 0 at most."""
    x, lowest = found[SURFACE:OWNER].copy(), 0.0
    step, slope = 0.1 * min(a[REACH], b[REACH]), np.empty(3)
    for _ in range(60):
        px, py, pz = into_body(turn_b, x)
        db, bx, by, bz = signed_distance(b, px, py, pz)
        px, py, pz = into_body(turn_a, x - offset)
        da, ax, ay, az = signed_distance(a, px, py, pz)
        if da < 0.0 and db < 0.0:
            lowest = min(lowest, da + db)
        for i in range(3):
            slope[i] = turn_b[i, 0] * bx + turn_b[i, 1] * by + turn_b[i, 2] * bz
            slope[i] += turn_a[i, 0] * ax + turn_a[i, 1] * ay + turn_a[i, 2] * az
        x -= step * _unit(slope) if _dot(slope, slope) > 1e-12 else 0.0 * slope
        step *= 0.85
    return lowest if lowest < -HAIR * min(a[REACH], b[REACH]) else 0.0


@compiled
def _wall_depth(a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array) -> float:
    """Return the deepest point in B [m] of lines down A's wall; inf if none is in."""
    turn, shift = np.empty((3, 3)), np.empty(3)
    curve, found, lowest = np.empty(CURVE_SIZE), np.empty(SAMPLES), np.inf
    relative(turn_a, turn_b, offset, 1.0, turn, shift)
    x, y, h = a[SIDE_X], a[SIDE_Y], a[HALF]
    outer = a[RADIUS] if a[KIND] == ROUND else min(x, y)
    middle = 0.5 * (outer + a[BORE])
    for k in range(WALL_LINES):
        angle = 2 * np.pi * k / WALL_LINES
        curve[:] = 0.0
        curve[CENTRE], curve[CENTRE + 1] = middle * np.cos(angle), middle * np.sin(angle)
        curve[CENTRE + 2], curve[U + 2], curve[SCALE] = -h, 2 * h, 2 * h
        place(curve, turn, shift)
        for i in range(minima(b, curve, 0.0, True, found)):
            f = along(b, curve, found[i])[0]
            lowest = min(lowest, f) if f < 0.0 else lowest
    return lowest
