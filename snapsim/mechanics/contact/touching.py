"""All the points where two solids touch or nearly touch, with their normals and gaps.

Candidates, per curve of either solid against the other (see `curves`): corners and the ends of a
cylinder's line; where a straight edge or that line crosses a boundary plane or wall of the other,
which are the ends of the stretch lying on a face; the local minima of the distance; on a rim SPREAD
points counted from its lowest one, and its crossings with the other's rims. Kept are those with a
gap below `reach` whose normal is perpendicular to the owner's surface within about 14 mrad: the
distance is then stationary there, or the two surfaces lie flat on each other. A tilted face so
keeps its far corners until they lie farther off than `reach`. Doubles are merged.

Slightly overlapping or touching pairs are moved apart by a hair first (see `overlap`).

A contact is one row: MIDDLE (3, midway between the surfaces), NORMAL_AT (3, unit, from B into A),
DISTANCE [m]; world axes, origin at B's centre.
"""

from __future__ import annotations

from math import acos, atan2, cos, pi, sin, sqrt

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import polyhedron
from snapsim.mechanics.contact.curves import (
    BORE_RIM,
    CENTRE,
    CIRCLE,
    CORE,
    CURVE_SIZE,
    EDGE,
    ROLE,
    SAMPLES,
    SCALE,
    SORT,
    U,
    V,
    along,
    curve_count,
    floor_of,
    minima,
    place,
    write_curve,
)
from snapsim.mechanics.contact.nearest import (
    GAP,
    RESULT_SIZE,
    nearest,
    relative,
    rotate,
    write_surface_point,
)
from snapsim.mechanics.contact.overlap import HAIR, PERPENDICULAR, part
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
    SIDES,
    signed_distance,
)
from snapsim.numerics.compilation import bare, compiled, part_of_caller
from snapsim.numerics.copying import copy

MIDDLE, NORMAL_AT, DISTANCE, CONTACT_SIZE = 0, 3, 6, 7
SPREAD = 8
LEVEL = 1e-12
MOST_CONTACTS = 512


@part_of_caller
def contacts_of(
    a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array, reach: float, rows: Array
) -> int:
    """Write the contacts with a gap below `reach` [m] into `rows`; returns how many there are."""
    found, direction = np.empty(RESULT_SIZE), np.zeros(3)
    if nearest(a, b, turn_a, turn_b, offset, found) >= reach:
        return 0
    hair = 0.0
    if found[GAP] < HAIR * min(a[REACH], b[REACH]):
        hair = part(a, b, turn_a, turn_b, offset, found, direction)
    else:
        direction[:] = 0.0
    moved = offset + hair * direction
    count = _one_sided(a, b, turn_a, turn_b, moved, 1.0, hair * direction, reach, rows, 0)
    return _one_sided(b, a, turn_b, turn_a, moved, -1.0, hair * direction, reach, rows, count)


@compiled
def _one_sided(
    owner: Array,
    other: Array,
    turn_owner: Array,
    turn_other: Array,
    offset: Array,
    sign: float,
    moved: Array,
    reach: float,
    rows: Array,
    count: int,
) -> int:
    """Add the contacts of the owner's curves; `sign` is 1 where the owner is A, -1 where B."""
    turn, shift, start = np.empty((3, 3)), np.empty(3), count
    relative(turn_owner, turn_other, offset, sign, turn, shift)
    curve, row = np.empty(CURVE_SIZE), np.empty(CONTACT_SIZE)
    ts = np.empty(2 * SAMPLES + _planes(other))
    size = min(owner[REACH], other[REACH])
    cut = reach + sqrt(moved[0] ** 2 + moved[1] ** 2 + moved[2] ** 2)
    for k in range(curve_count(owner)):
        write_curve(owner, k, curve)
        place(curve, turn, shift)
        if floor_of(other, curve) >= cut:
            continue
        fixed, total = _candidates(other, curve, cut, ts)
        low, high = 2.0, -1.0
        for i in range(total):
            if i >= fixed and low < ts[i] < high:
                continue
            if not _contact(owner, other, curve, ts[i], turn, shift, HAIR * size, cut, row):
                continue
            if i < fixed and curve[SORT] != CIRCLE:
                low, high = min(low, ts[i]), max(high, ts[i])
            _to_world(row, turn_other, offset, sign, moved)
            if row[DISTANCE] < reach:
                count = add(rows, start if sign > 0 else 0, count, row, 10 * HAIR * size)
    return count


@bare
def _planes(solid: Array) -> int:
    """How many side planes bound the solid."""
    if solid[KIND] == POLYHEDRON:
        return int(solid[FIRST + polyhedron.FACES])
    return int(solid[SIDES])


@part_of_caller
def _candidates(other: Array, curve: Array, cut: float, ts: Array) -> tuple[int, int]:
    """Write candidate parameters: first those of flat stretches, then the local minima."""
    if curve[SCALE] == 0.0:
        ts[0] = 0.0
        return 1, 1
    minimum = np.empty(SAMPLES)
    low = minima(other, curve, cut, False, minimum)
    if curve[SORT] == CIRCLE:
        return _on_rim(other, curve, minimum[:low], ts)
    count = _on_line(other, curve, ts)
    ts[count : count + low] = minimum[:low]
    return count, count + low


@bare
def _on_line(other: Array, curve: Array, ts: Array) -> int:
    """Ends of the line, and its crossings with the planes and walls that bound the other solid."""
    count = 1 if curve[ROLE] == EDGE else 2
    ts[0], ts[1] = 0.0, 1.0
    x, y, z, u, v, w = curve[1], curve[2], curve[3], curve[4], curve[5], curve[6]
    if other[KIND] == BALL:
        return count
    if other[KIND] == POLYHEDRON:
        for i in range(_planes(other)):
            nx, ny, nz, d = polyhedron.plane(other[FIRST:], i)
            rate = nx * u + ny * v + nz * w
            count = _inside((d - nx * x - ny * y - nz * z) / rate, ts, count)
        return count
    count = _inside((other[HALF] - z) / w, ts, count)
    count = _inside((-other[HALF] - z) / w, ts, count)
    for i in range(int(other[SIDES])):
        at = FIRST + PER_SIDE * i
        nx, ny = other[at + 3], -other[at + 2]
        rate = nx * u + ny * v
        count = _inside(((other[at] - x) * nx + (other[at + 1] - y) * ny) / rate, ts, count)
    for radius in (other[RADIUS], other[BORE]):
        square, half = u * u + v * v, x * u + y * v
        root = half * half - square * (x * x + y * y - radius * radius)
        if radius > 0.0 and square > 0.0 and root > 0.0:
            count = _inside((-half - sqrt(root)) / square, ts, count)
            count = _inside((-half + sqrt(root)) / square, ts, count)
    return count


@bare
def _inside(t: float, ts: Array, count: int) -> int:
    """Append t if it lies within the line; returns the new count."""
    if not 0.0 < t < 1.0:
        return count
    ts[count] = t
    return count + 1


@bare
def _on_rim(other: Array, curve: Array, minimum: Array, ts: Array) -> tuple[int, int]:
    """SPREAD points from the lowest one on, crossings with the other's rims, other minima."""
    lowest, count, noise = 0.0, SPREAD, LEVEL * curve[SCALE]
    level = along(other, curve, 0.0)[0] - noise
    for t in minimum:
        f = along(other, curve, t)[0]
        if f < level:
            lowest, level = t, f
    highest = -np.inf
    for i in range(SPREAD):
        ts[i] = lowest + 2 * pi * i / SPREAD
        highest = max(highest, along(other, curve, ts[i])[0])
    if curve[ROLE] == BORE_RIM and _lies_flat(other, curve, lowest):
        count = 0
    for radius in (other[RADIUS], other[BORE]):
        if radius > 0.0 and other[KIND] != BALL:
            count = _rim_crossings(other, curve, radius, ts, count)
    total = count
    for t in minimum:
        if highest > level + 2 * noise and not _is_level(other, curve, lowest, t, noise):
            ts[total] = t
            total += 1
    return count, total


@bare
def _is_level(other: Array, curve: Array, t: float, s: float, noise: float) -> bool:
    """Do two points of the rim lie on one flat stretch: same distance, same normal?"""
    f, _, fx, fy, fz = along(other, curve, t)
    g, _, gx, gy, gz = along(other, curve, s)
    return bool(abs(f - g) < noise and fx * gx + fy * gy + fz * gz > 1.0 - 1e-12 and t != s)


@bare
def _lies_flat(other: Array, curve: Array, t: float) -> bool:
    """Is the normal along the rim's axis? Then the solid's outer rim bounds the patch."""
    _, _, gx, gy, gz = along(other, curve, t)
    u = gx * curve[U] + gy * curve[U + 1] + gz * curve[U + 2]
    v = gx * curve[V] + gy * curve[V + 1] + gz * curve[V + 2]
    return bool(u * u + v * v < 2 * PERPENDICULAR * curve[SCALE] ** 2)


@bare
def _rim_crossings(other: Array, curve: Array, radius: float, ts: Array, count: int) -> int:
    """Append the angles at which a nearly coplanar circle crosses a circle about the z axis.

    They bound a patch of two flat faces. Where the circle runs round a wall that it has sunk into
    by a hair it crosses it too, and touches nothing there: such a crossing looks along the wall's
    normal.
    """
    if curve[U + 2] ** 2 + curve[V + 2] ** 2 > 2 * PERPENDICULAR * curve[SCALE] ** 2:
        return count
    cx, cy = curve[CENTRE], curve[CENTRE + 1]
    p = cx * curve[U] + cy * curve[U + 1]
    q = cx * curve[V] + cy * curve[V + 1]
    reach = sqrt(p * p + q * q)
    k = 0.5 * (radius * radius - curve[SCALE] ** 2 - cx * cx - cy * cy)
    if not abs(k) < reach:
        return count
    for turn in (-acos(k / reach), acos(k / reach)):
        t = _polish_crossing(curve, radius, atan2(q, p) + turn)
        if abs(along(other, curve, t)[4]) > 0.5:
            ts[count] = t
            count += 1
    return count


@bare
def _polish_crossing(curve: Array, radius: float, t: float) -> float:
    """Newton for x^2 + y^2 = radius^2 along the tilted circle."""
    for _ in range(4):
        c, s = cos(t), sin(t)
        x, y = curve[1] + c * curve[4] + s * curve[7], curve[2] + c * curve[5] + s * curve[8]
        u, v = c * curve[7] - s * curve[4], c * curve[8] - s * curve[5]
        rate = 2 * (x * u + y * v)
        if abs(rate) < 1e-6 * radius * curve[SCALE]:
            break
        t -= (x * x + y * y - radius * radius) / rate
    return t


@part_of_caller
def _contact(
    owner: Array,
    other: Array,
    curve: Array,
    t: float,
    turn: Array,
    shift: Array,
    step: float,
    cut: float,
    row: Array,
) -> bool:
    """Write the contact at `t` in the other's axes, if near and perpendicular to the owner."""
    f, _, gx, gy, gz = along(other, curve, t)
    if f >= cut:
        return False
    n, p = row[NORMAL_AT:DISTANCE], row[MIDDLE:NORMAL_AT]
    n[0], n[1], n[2] = gx, gy, gz
    write_surface_point(curve, t, n, p)
    if curve[ROLE] == CORE and owner[BORE] > 0.0 and f < 0.999 * (owner[BORE] - owner[RADIUS]):
        return False
    x, y, z = p[0] - step * gx - shift[0], p[1] - step * gy - shift[1], p[2] - step * gz - shift[2]
    px = turn[0, 0] * x + turn[1, 0] * y + turn[2, 0] * z
    py = turn[0, 1] * x + turn[1, 1] * y + turn[2, 1] * z
    pz = turn[0, 2] * x + turn[1, 2] * y + turn[2, 2] * z
    if abs(signed_distance(owner, px, py, pz)[0] - step) > PERPENDICULAR * step:
        return False
    row[DISTANCE] = f
    p -= 0.5 * f * n
    return True


@bare
def _to_world(row: Array, turn: Array, offset: Array, sign: float, moved: Array) -> None:
    """Other's axes to world axes, normal from B into A, and the parting motion set back."""
    rotate(turn, row[MIDDLE:NORMAL_AT])
    rotate(turn, row[NORMAL_AT:DISTANCE])
    for i in range(3):
        if sign < 0.0:
            row[MIDDLE + i] += offset[i]
        row[NORMAL_AT + i] *= sign
        row[MIDDLE + i] -= 0.5 * moved[i]
        row[DISTANCE] -= moved[i] * row[NORMAL_AT + i]


@bare
def add(rows: Array, start: int, count: int, row: Array, same: float) -> int:
    """Append the row, or merge it with one at the same place and normal, keeping the nearer."""
    for k in range(start, count):
        d2, dot = 0.0, 0.0
        for i in range(3):
            d2 += (rows[k, MIDDLE + i] - row[MIDDLE + i]) ** 2
            dot += rows[k, NORMAL_AT + i] * row[NORMAL_AT + i]
        if d2 < same * same and dot > 0.9:
            if row[DISTANCE] < rows[k, DISTANCE] - 1e-15:
                copy(row, rows[k])
            return count
    if count < len(rows):
        copy(row, rows[count])
        count += 1
    return count
