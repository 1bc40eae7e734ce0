"""Exact signed distance of a point from one solid, and the solid's extent along a direction.

    d(x) = |x - c(x)| outside, minus the distance to the surface inside;   grad d = (x - c)/d

with c(x) the nearest surface point [m]. An extrusion is profile x [-h, h]: with m the signed
distance of the profile in its plane and w = |z| - h, d = sqrt(m+^2 + w+^2) outside (x+ = max(x, 0))
and max(m, w) inside; both are exact because a product set's distance splits by Pythagoras. A bore
of radius b makes m the larger of the outline's and b - r, exact while the bore stays inside the
outline. Support functions: Schneider, Convex Bodies, 2nd ed. 2014, section 1.7 (from memory).

A solid is one row of floats: KIND, HALF (half length), RADIUS (of a ball or a round profile), BORE,
SIDE_X, SIDE_Y (half sides of a rectangle), SIDES (number of corners), REACH (radius of the sphere
about the centre that holds the solid), then for each side its first corner x, y, its unit direction
x, y (counter-clockwise) and its length. All lengths in metres, in body axes.

A convex polyhedron (module `polyhedron`) has another row behind REACH. Shapes that are not convex
are rows of their convex pieces.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.contact import polyhedron
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import ConvexPolyhedron, Shape

BALL, RECTANGLE, ROUND, POLYGON, POLYHEDRON = 0.0, 1.0, 2.0, 3.0, 4.0
KIND, HALF, RADIUS, BORE, SIDE_X, SIDE_Y, SIDES, REACH, FIRST = range(9)
PER_SIDE = 5

Distance = tuple[float, float, float, float]


def solid_rows(shapes: list[Shape]) -> Array:
    """Return one row a simple solid (n, length of the longest row)."""
    rows = np.zeros((len(shapes), max(map(_length, shapes), default=FIRST)))
    for row, shape in zip(rows, shapes, strict=True):
        _fill(row, shape)
    return rows


def _length(shape: Shape) -> int:
    """Numbers that the row of a simple solid needs."""
    if isinstance(shape, ConvexPolyhedron):
        return FIRST + polyhedron.length(shape)
    return FIRST if shape.outline is None else FIRST + PER_SIDE * len(shape.outline.polygon)


def _fill(row: Array, shape: Shape) -> None:
    """Write one shape into its zeroed row."""
    if isinstance(shape, ConvexPolyhedron):
        row[[KIND, REACH]] = POLYHEDRON, np.linalg.norm(shape.corners, axis=1).max()
        table = polyhedron.table(shape)
        row[FIRST : FIRST + len(table)] = table
        return
    outline = shape.outline
    if outline is None:
        row[[KIND, RADIUS, REACH]] = BALL, shape.extents[0], shape.extents[0]
        return
    row[[HALF, BORE]] = outline.half_length, outline.bore_radius
    if not outline.polygon.size:
        row[[KIND, RADIUS]] = ROUND, outline.radius
        row[REACH] = np.hypot(outline.radius, outline.half_length)
        return
    polygon = outline.polygon
    x, y = np.abs(polygon).max(axis=0)
    is_rectangle = len(polygon) == 4 and bool(np.all(np.abs(polygon) == (x, y)))
    row[[KIND, SIDE_X, SIDE_Y]] = RECTANGLE if is_rectangle else POLYGON, x, y
    row[SIDES] = len(polygon)
    row[REACH] = np.hypot(np.linalg.norm(polygon, axis=1).max(), outline.half_length)
    sides = np.roll(polygon, -1, axis=0) - polygon
    length = np.linalg.norm(sides, axis=1, keepdims=True)
    table = np.hstack([polygon, sides / length, length])
    row[FIRST : FIRST + table.size] = table.ravel()


@bare
def signed_distance(solid: Array, x: float, y: float, z: float) -> Distance:
    """Return (d, gradient x, y, z) at a point of the solid's body axes."""
    if solid[KIND] == BALL:
        r = sqrt(x * x + y * y + z * z)
        if r == 0.0:
            return -solid[RADIUS], 0.0, 0.0, 1.0
        return r - solid[RADIUS], x / r, y / r, z / r
    if solid[KIND] == POLYHEDRON:
        return polyhedron.signed_distance(solid[FIRST:], x, y, z)
    m, gx, gy = _profile_distance(solid, x, y)
    w = abs(z) - solid[HALF]
    up = 1.0 if z >= 0 else -1.0
    if m > 0.0 and w > 0.0:
        d = sqrt(m * m + w * w)
        return d, gx * m / d, gy * m / d, up * w / d
    if m > w:
        return m, gx, gy, 0.0
    return w, 0.0, 0.0, up


@bare
def _profile_distance(solid: Array, x: float, y: float) -> tuple[float, float, float]:
    """Signed distance and its gradient in the plane of the profile, bore included."""
    kind, bore = solid[KIND], solid[BORE]
    m, gx, gy = 0.0, 1.0, 0.0
    if kind == RECTANGLE:
        m, gx, gy = _rectangle_distance(solid[SIDE_X], solid[SIDE_Y], x, y)
    elif kind == POLYGON:
        m, gx, gy = _polygon_distance(solid, x, y)
    if kind == ROUND or bore > 0.0:
        r = sqrt(x * x + y * y)
        ux, uy = (x / r, y / r) if r > 0.0 else (1.0, 0.0)
        if kind == ROUND:
            m, gx, gy = r - solid[RADIUS], ux, uy
        if bore > 0.0 and bore - r > m:
            m, gx, gy = bore - r, -ux, -uy
    return m, gx, gy


@bare
def _rectangle_distance(a: float, b: float, x: float, y: float) -> tuple[float, float, float]:
    qx, qy = abs(x) - a, abs(y) - b
    sx = 1.0 if x >= 0 else -1.0
    sy = 1.0 if y >= 0 else -1.0
    if qx > 0.0 and qy > 0.0:
        d = sqrt(qx * qx + qy * qy)
        return d, sx * qx / d, sy * qy / d
    if qx > qy:
        return qx, sx, 0.0
    return qy, 0.0, sy


@bare
def _polygon_distance(solid: Array, x: float, y: float) -> tuple[float, float, float]:
    """Convex polygon: the farthest side plane inside, the nearest side or corner outside."""
    best, bx, by, along, length = -np.inf, 1.0, 0.0, 0.0, 0.0
    for i in range(int(solid[SIDES])):
        k = FIRST + PER_SIDE * i
        tx, ty = solid[k + 2], solid[k + 3]
        dx, dy = x - solid[k], y - solid[k + 1]
        s = dx * ty - dy * tx
        if s > best:
            best, bx, by = s, ty, -tx
            along, length = dx * tx + dy * ty, solid[k + 4]
    if best <= 0.0 or 0.0 <= along <= length:
        return best, bx, by
    return _nearest_side(solid, x, y)


@bare
def _nearest_side(solid: Array, x: float, y: float) -> tuple[float, float, float]:
    """Distance and direction from the nearest side, for a point outside the polygon."""
    best, bx, by = np.inf, 1.0, 0.0
    for i in range(int(solid[SIDES])):
        k = FIRST + PER_SIDE * i
        tx, ty = solid[k + 2], solid[k + 3]
        dx, dy = x - solid[k], y - solid[k + 1]
        t = min(max(dx * tx + dy * ty, 0.0), solid[k + 4])
        rx, ry = dx - t * tx, dy - t * ty
        d = sqrt(rx * rx + ry * ry)
        if d < best:
            best, bx, by = d, rx, ry
    if best > 0.0:
        return best, bx / best, by / best
    return 0.0, bx, by


@bare
def support(solid: Array, x: float, y: float, z: float) -> float:
    """Return the largest p . (x, y, z) over the solid's convex hull, body axes."""
    flat = sqrt(x * x + y * y)
    if solid[KIND] == BALL:
        return float(solid[RADIUS] * sqrt(flat * flat + z * z))
    if solid[KIND] == POLYHEDRON:
        return float(polyhedron.support(solid[FIRST:], x, y, z))
    along = solid[HALF] * abs(z)
    if solid[KIND] == ROUND:
        return float(along + solid[RADIUS] * flat)
    best = -np.inf
    for i in range(int(solid[SIDES])):
        k = FIRST + PER_SIDE * i
        best = max(best, solid[k] * x + solid[k + 1] * y)
    return float(along + best)
