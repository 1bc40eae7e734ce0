"""Plane polygons: area, centroid, second moments, triangles, and what is wrong with one.

Moments by Green's theorem (Beer & Johnston, Mechanics of Materials, appendix A; from memory).
Triangles by cutting off ears (Meisters, Amer. Math. Monthly 82, 648 (1975); from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray


def moments(polygon: Array) -> tuple[float, Array, Array]:
    """Return area [m^2], centroid (2,) [m] and second moments (2, 2) about it [m^4].

    `polygon` (k, 2) [m]; the area is negative for a clockwise one, the moments then too.
    """
    start = polygon[0]
    p = polygon - start
    q = np.roll(p, -1, axis=0)
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    area = float(cross.sum()) / 2
    if area == 0:
        return 0.0, polygon.mean(axis=0), np.zeros((2, 2))
    centroid = cross @ (p + q) / (6 * area)
    p, q = p - centroid, q - centroid
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    both = p + q
    outer = np.einsum("ki,kj->kij", p, p) + np.einsum("ki,kj->kij", q, q)
    outer += np.einsum("ki,kj->kij", both, both)
    return area, start + centroid, np.einsum("k,kij->ij", cross, outer) / 24


def is_convex(polygon: Array) -> bool:
    """Does a counter-clockwise polygon turn left at every corner?"""
    return bool((_turns(polygon) > 0).all())


def _turns(polygon: Array) -> Array:
    """Twice the area [m^2] of the triangle at each corner, positive for a left turn."""
    before, after = np.roll(polygon, 1, axis=0), np.roll(polygon, -1, axis=0)
    u, v = polygon - before, after - polygon
    turn: Array = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return turn


def without_straight_corners(polygon: Array) -> Array:
    """Return the polygon without corners at which it goes straight on, to rounding."""
    u = polygon - np.roll(polygon, 1, axis=0)
    v = np.roll(polygon, -1, axis=0) - polygon
    length = np.linalg.norm(u, axis=1) * np.linalg.norm(v, axis=1)
    straight = (np.abs(_turns(polygon)) <= 1e-12 * length) & (np.einsum("ki,ki->k", u, v) > 0)
    kept: Array = polygon[~straight]
    return kept


def triangles(polygon: Array) -> IntArray:
    """Return triangles (k - 2, 3) of corner numbers of a simple counter-clockwise polygon."""
    left = list(range(len(polygon)))
    found = []
    while len(left) > 3:
        i = _best_ear(polygon, left)
        found.append([left[i - 1], left[i], left[(i + 1) % len(left)]])
        del left[i]
    return np.array([*found, left], dtype=np.int64)


def _best_ear(polygon: Array, left: list[int]) -> int:
    """The ear with the widest smallest angle; of a polygon with none to rounding, any corner."""
    p = polygon[left]
    a, c = np.roll(p, 1, axis=0), np.roll(p, -1, axis=0)
    best, quality = 0, -np.inf
    for i in range(len(p)):
        area = _cross(p[i] - a[i], c[i] - p[i])
        sides = [p[i] - a[i], c[i] - p[i], a[i] - c[i]]
        shape = area / max(float(s @ s) for s in sides)
        if shape > max(quality, 0.0) and not _any_inside(p, i, a[i], p[i], c[i]):
            best, quality = i, shape
    return best


def _any_inside(p: Array, i: int, a: Array, b: Array, c: Array) -> bool:
    """Does another corner lie in the triangle a, b, c or on its rim?"""
    rest = np.delete(p, [i - 1, i, (i + 1) % len(p)], axis=0)
    inside = np.ones(len(rest), dtype=bool)
    for s, e in ((a, b), (b, c), (c, a)):
        inside &= (e[0] - s[0]) * (rest[:, 1] - s[1]) - (e[1] - s[1]) * (rest[:, 0] - s[0]) >= 0
    return bool(inside.any())


def _cross(u: Array, v: Array) -> float:
    return float(u[0] * v[1] - u[1] * v[0])


def crossing(polygon: Array) -> tuple[int, int] | None:
    """Return the numbers of two sides that meet or cross although they are not neighbours.

    Neighbours that fold back onto each other count too. None for a simple polygon.
    """
    n = len(polygon)
    following = np.roll(polygon, -1, axis=0)
    for i in range(n):
        a, b = polygon[i], following[i]
        c, d = polygon[i + 1 :], following[i + 1 :]
        one, two = _sides(a, b, c), _sides(a, b, d)
        three, four = _sides_of(c, d, a), _sides_of(c, d, b)
        meet = (one * two <= 0) & (three * four <= 0)
        meet &= (np.minimum(c, d) <= np.maximum(a, b)).all(axis=1)
        meet &= (np.minimum(a, b) <= np.maximum(c, d)).all(axis=1)
        for k in np.flatnonzero(meet):
            j = i + 1 + int(k)
            if j - i > 1 and (i, j) != (0, n - 1):
                return i, j
            shared, first, last = (b, a, d[k]) if j - i == 1 else (a, c[k], b)
            u, v = shared - first, last - shared
            if _cross(u, v) == 0 and u @ v < 0:
                return i, j
    return None


def _sides(a: Array, b: Array, points: Array) -> Array:
    """On which side (sign) of the line a-b the points (k, 2) lie."""
    side: Array = np.sign(
        (b[0] - a[0]) * (points[:, 1] - a[1]) - (b[1] - a[1]) * (points[:, 0] - a[0])
    )
    return side


def _sides_of(c: Array, d: Array, point: Array) -> Array:
    """On which side of each line c-d, (k, 2), the point lies."""
    side: Array = np.sign(
        (d[:, 0] - c[:, 0]) * (point[1] - c[:, 1]) - (d[:, 1] - c[:, 1]) * (point[0] - c[:, 0])
    )
    return side
