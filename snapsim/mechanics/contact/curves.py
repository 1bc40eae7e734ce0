"""The curves that carry a solid's nearest points, and the distance to another solid along them.

Where two solids are closest, one of the two points lies on a curve of its solid: a straight edge, a
rim, or, for a round wall or a ball, the axis or the centre less the radius (a plane and a hollow
wall are never closer in their interior than at the other solid's curve). So the gap is the smallest

    f(t) = d(c(t)) - offset,     c(t) = C + t U (0 <= t <= 1)  or  C + cos t U + sin t V

over all curves c of either solid, d the other solid's signed distance [m]. f has Lipschitz constant
|U| in t. Along a straight line and a convex solid f is convex, and its minimum is bracketed by the
slopes at the ends; otherwise it is sampled where the Lipschitz bound leaves room below `cut`, and
every change of sign of the slope is refined by a safeguarded secant (Illinois variant of regula
falsi, Dowell & Jarratt 1971, from memory) until the slope is zero to rounding.

A curve is one row: SORT (line or circle), CENTRE, U, V (3 each), OFFSET, SCALE (|U|), ROLE.
"""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import polyhedron
from snapsim.mechanics.contact.solids import (
    BALL,
    BORE,
    FIRST,
    HALF,
    KIND,
    PER_SIDE,
    POLYHEDRON,
    RADIUS,
    ROUND,
    SIDES,
    signed_distance,
)
from snapsim.numerics.compilation import bare

LINE, CIRCLE = 0.0, 1.0
SORT, CENTRE, U, V, OFFSET, SCALE, ROLE = 0, 1, 4, 7, 10, 11, 12
CURVE_SIZE = 13
POINT, CORE, UPRIGHT, EDGE, RIM, BORE_RIM = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0
COARSE, FINE = 16, 4
SAMPLES = COARSE * FINE
COSINES = np.cos(2 * pi * np.arange(SAMPLES + 1) / SAMPLES)
SINES = np.sin(2 * pi * np.arange(SAMPLES + 1) / SAMPLES)

Along = tuple[float, float, float, float, float]


@bare
def curve_count(solid: Array) -> int:
    """Return how many curves the solid has."""
    if solid[KIND] == BALL:
        return 1
    if solid[KIND] == POLYHEDRON:
        return int(solid[FIRST + polyhedron.CORNERS] + solid[FIRST + polyhedron.EDGES])
    rims = 2 if solid[BORE] > 0.0 else 0
    return rims + (3 if solid[KIND] == ROUND else 3 * int(solid[SIDES]))


@bare
def write_curve(solid: Array, k: int, curve: Array) -> None:
    """Write curve number `k` of the solid, in its body axes."""
    curve[:] = 0.0
    if solid[KIND] == POLYHEDRON:
        _write_feature(solid[FIRST:], k, curve)
        return
    h, sides = solid[HALF], int(solid[SIDES])
    plain = 3 if solid[KIND] == ROUND else 3 * sides
    if solid[KIND] == BALL:
        curve[OFFSET], curve[ROLE] = solid[RADIUS], POINT
    elif k >= plain:
        _write_circle(curve, solid[BORE], h if k == plain else -h, BORE_RIM)
    elif solid[KIND] != ROUND:
        _write_edge(solid, k // sides, k % sides, curve)
    elif k == 0:
        curve[CENTRE + 2], curve[U + 2], curve[SCALE] = -h, 2 * h, 2 * h
        curve[OFFSET], curve[ROLE] = solid[RADIUS], CORE
    else:
        _write_circle(curve, solid[RADIUS], h if k == 1 else -h, RIM)


@bare
def _write_circle(curve: Array, radius: float, z: float, role: float) -> None:
    curve[SORT], curve[ROLE], curve[SCALE] = CIRCLE, role, radius
    curve[CENTRE + 2], curve[U], curve[V + 1] = z, radius, radius


@bare
def _write_edge(solid: Array, row: int, side: int, curve: Array) -> None:
    """Upright edges (row 0), upper (1) and lower (2) edges of a polygonal solid."""
    at, h = FIRST + PER_SIDE * side, solid[HALF]
    curve[CENTRE], curve[CENTRE + 1] = solid[at], solid[at + 1]
    if row == 0:
        curve[CENTRE + 2], curve[U + 2], curve[SCALE] = -h, 2 * h, 2 * h
        curve[ROLE] = UPRIGHT
        return
    length = solid[at + 4]
    curve[CENTRE + 2] = h if row == 1 else -h
    curve[U], curve[U + 1] = length * solid[at + 2], length * solid[at + 3]
    curve[SCALE], curve[ROLE] = length, EDGE


@bare
def _write_feature(table: Array, k: int, curve: Array) -> None:
    """Corner (a line of no length) or edge number `k` of a polyhedron, corners first."""
    corners = int(table[polyhedron.CORNERS])
    if k < corners:
        at = polyhedron.FIRST_CORNER + 3 * k
        curve[ROLE] = POINT
        for i in range(3):
            curve[CENTRE + i] = table[at + i]
        return
    at = polyhedron.FIRST_CORNER + 3 * corners + polyhedron.PER_EDGE * (k - corners)
    curve[ROLE], curve[SCALE] = UPRIGHT, table[at + 6]
    for i in range(3):
        curve[CENTRE + i], curve[U + i] = table[at + i], table[at + 3 + i] * table[at + 6]


@bare
def place(curve: Array, turn: Array, shift: Array) -> None:
    """Carry the curve into other axes: x -> turn x + shift."""
    for first in (CENTRE, U, V):
        x, y, z = curve[first], curve[first + 1], curve[first + 2]
        for i in range(3):
            curve[first + i] = turn[i, 0] * x + turn[i, 1] * y + turn[i, 2] * z
    for i in range(3):
        curve[CENTRE + i] += shift[i]


@bare
def along(solid: Array, curve: Array, t: float) -> Along:
    """Return f(t), its slope df/dt, and the gradient of the distance there."""
    if curve[SORT] == LINE:
        x, y, z = curve[1] + t * curve[4], curve[2] + t * curve[5], curve[3] + t * curve[6]
        d, gx, gy, gz = signed_distance(solid, x, y, z)
        slope = gx * curve[4] + gy * curve[5] + gz * curve[6]
        return d - curve[OFFSET], slope, gx, gy, gz
    return _round(solid, curve, cos(t), sin(t))


@bare
def _round(solid: Array, curve: Array, c: float, s: float) -> Along:
    """As `along`, on a circle at the angle of cosine c and sine s."""
    x = curve[1] + c * curve[4] + s * curve[7]
    y = curve[2] + c * curve[5] + s * curve[8]
    z = curve[3] + c * curve[6] + s * curve[9]
    d, gx, gy, gz = signed_distance(solid, x, y, z)
    slope = gx * (c * curve[7] - s * curve[4]) + gy * (c * curve[8] - s * curve[5])
    slope += gz * (c * curve[9] - s * curve[6])
    return d, slope, gx, gy, gz


@bare
def _sample(solid: Array, curve: Array, i: int) -> tuple[float, float]:
    """Value and slope at sample number `i` of SAMPLES."""
    if curve[SORT] == LINE:
        f, slope, _, _, _ = along(solid, curve, i / SAMPLES)
    else:
        f, slope, _, _, _ = _round(solid, curve, COSINES[i], SINES[i])
    return f, slope


@bare
def floor_of(solid: Array, curve: Array) -> float:
    """Return a cheap lower bound of f: the distance at the middle less half the curve's reach."""
    h = 0.5 if curve[SORT] == LINE else 0.0
    x, y, z = curve[1] + h * curve[4], curve[2] + h * curve[5], curve[3] + h * curve[6]
    reach = (1.0 - h) * curve[SCALE]
    return float(signed_distance(solid, x, y, z)[0] - reach - curve[OFFSET])


@bare
def minima(solid: Array, curve: Array, cut: float, lowest_only: bool, found: Array) -> int:
    """Write into `found` the t of the interior local minima that can lie below `cut`.

    With `lowest_only`, `cut` follows the lowest minimum met. Returns how many were written.
    """
    if curve[SORT] == CIRCLE:
        return _scan(solid, curve, 2 * pi, cut, lowest_only, found)
    if curve[SCALE] == 0.0:
        return 0
    fa, sa, _, _, _ = along(solid, curve, 0.0)
    fb, sb, _, _, _ = along(solid, curve, 1.0)
    if 0.5 * (fa + fb - curve[SCALE]) >= cut:
        return 0
    if not _is_convex_along(solid, curve):
        return _scan(solid, curve, 1.0, cut, lowest_only, found)
    if sa >= 0.0 or sb <= 0.0 or fa + sa * (fb - fa - sb) / (sa - sb) >= cut:
        return 0
    found[0] = _minimise(solid, curve, 0.0, sa, 1.0, sb)
    return 1


@bare
def _is_convex_along(solid: Array, curve: Array) -> bool:
    """Is the line clear of the bore, so that only the convex hull counts?"""
    bore = solid[BORE]
    if bore == 0.0:
        return True
    x, y, u, v = curve[1], curve[2], curve[4], curve[5]
    flat = u * u + v * v
    t = min(max(-(x * u + y * v) / flat, 0.0), 1.0) if flat > 0.0 else 0.0
    clear: bool = (x + t * u) ** 2 + (y + t * v) ** 2 >= bore * bore
    return clear


@bare
def _scan(
    solid: Array, curve: Array, stop: float, cut: float, lowest_only: bool, found: Array
) -> int:
    """Sample from 0 to `stop`, more finely where the Lipschitz bound goes below `cut`."""
    count, width = 0, stop * curve[SCALE] / COARSE
    fa, sa = _sample(solid, curve, 0)
    for i in range(0, SAMPLES, FINE):
        fb, sb = _sample(solid, curve, i + FINE)
        cut = min(cut, fb) if lowest_only else cut
        if 0.5 * (fa + fb - width) < cut:
            fl, sl, fr, sr = fa, sa, fb, sb
            for j in range(i, i + FINE):
                fr, sr = _sample(solid, curve, j + 1) if j + 1 < i + FINE else (fb, sb)
                if sl < 0.0 and sr >= 0.0 and 0.5 * (fl + fr - width / FINE) < cut:
                    left, right = j * stop / SAMPLES, (j + 1) * stop / SAMPLES
                    found[count] = _minimise(solid, curve, left, sl, right, sr)
                    if lowest_only:
                        cut = min(cut, along(solid, curve, found[count])[0])
                    count += 1
                fl, sl = fr, sr
        fa, sa = fb, sb
    return count


@bare
def _minimise(
    solid: Array, curve: Array, a: float, slope_a: float, b: float, slope_b: float
) -> float:
    """Return the t between a (slope below 0) and b (slope not below 0) where the slope is 0."""
    flat, kept = 2e-15 * curve[SCALE], 0
    sa, sb = slope_a, slope_b
    for k in range(120):
        t = (a * sb - b * sa) / (sb - sa)
        if k % 4 == 3 or not a < t < b:
            t = 0.5 * (a + b)
        slope = along(solid, curve, t)[1]
        if abs(slope) <= flat or b - a <= 1e-15:
            return t
        if slope < 0.0:
            a, sa = t, slope
            sb = 0.5 * sb if kept == -1 else sb
            kept = -1
        else:
            b, sb = t, slope
            sa = 0.5 * sa if kept == 1 else sa
            kept = 1
    return 0.5 * (a + b)
