"""Convex polyhedra: the hull of points as plane faces, and any closed polyhedron cut into them.

Cutting follows a binary space partition (Fuchs, Kedem & Naylor, SIGGRAPH 1980; from memory): a
convex region that holds some of the surface's polygons is cut by the plane of one of them until the
polygons left in a region are all behind each other's planes; the solid in that region is then the
region behind them all, which is convex. The pieces fill the polyhedron exactly, but for slabs
thinner than `tolerance`. Lengths [m], arrays (n, 3); the surface must be closed and must not cross
itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray

ROUNDING: Final = 2e-7
"""Planes nearer than this share of the size count as one: the resolution of float32 files."""

CANDIDATES: Final = 24
"""Planes tried at each cut."""


def hull_faces(points: Array, tolerance: float = ROUNDING) -> tuple[Array, list[IntArray]]:
    """Return the corners (k, 3) of the convex hull and its faces: loops of corner numbers,
    counter-clockwise seen from outside. Corners within `tolerance` (share of the size) of a plane
    belong to it. Raises ValueError where the points are all in one plane.
    """
    from scipy.spatial import ConvexHull, QhullError  # slow to import, and rarely needed

    try:
        hull = ConvexHull(points)
    except QhullError as error:
        raise ValueError("the points lie in one plane") from error
    corners = points[hull.vertices]
    near = tolerance * float(np.ptp(corners, axis=0).max())
    triangles = points[hull.simplices]
    normals = hull.equations[:, :3]
    area = np.linalg.norm(
        np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
    )
    left = np.ones(len(area), dtype=bool)
    loops: list[IntArray] = []
    for k in np.argsort(-area, kind="stable"):
        if not left[k]:
            continue
        n, d = normals[k], float(triangles[k, 0] @ normals[k])
        left &= ~((np.abs(triangles @ n - d).max(axis=1) <= near) & (normals @ n > 0))
        loops.append(_around(corners, np.flatnonzero(np.abs(corners @ n - d) <= near), n))
    return corners, loops


def _around(corners: Array, chosen: IntArray, n: Array) -> IntArray:
    """Sort corner numbers counter-clockwise about n."""
    away = corners[chosen] - corners[chosen].mean(axis=0)
    first = away[np.argmax(np.linalg.norm(away, axis=1))]
    angle = np.arctan2(away @ np.cross(n, first), away @ first)
    turned: IntArray = chosen[np.argsort(angle, kind="stable")]
    return turned


def is_convex(corners: Array, triangles: IntArray, tolerance: float = ROUNDING) -> bool:
    """Is the closed surface that of its own convex hull, to within `tolerance` of its size?"""
    p = corners[triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    length = np.linalg.norm(normal, axis=1)
    size = float(np.ptp(corners, axis=0).max())
    for some in np.array_split(np.flatnonzero(length > 0), max(1, len(p) // 256)):
        unit = normal[some] / length[some, None]
        height = corners @ unit.T - np.einsum("fi,fi->f", unit, p[some, 0])
        if height.size and height.max() > tolerance * size:
            return False
    return True


def convex_pieces(
    corners: Array, triangles: IntArray, most: int, tolerance: float = ROUNDING
) -> list[Array] | None:
    """Return the corners (k, 3) of each convex piece of a closed polyhedron.

    `corners` (n, 3) [m] and outward `triangles` (m, 3). None where there would be more than `most`.
    """
    if is_convex(corners, triangles, tolerance):
        return [corners]
    near = tolerance * float(np.ptp(corners, axis=0).max())
    box = _box(corners.min(axis=0), corners.max(axis=0))
    work = [(box, [p for p in corners[triangles] if _has_area(p, near)])]
    pieces: list[Array] = []
    for _ in range(40 * most):
        if not work:
            return pieces
        region, polygons = work.pop()
        normals, offsets = _planes(polygons)
        cut = _best_cut(polygons, normals, offsets, near)
        if cut is None:
            pieces += _behind_all(region, normals, offsets, near)
            if len(pieces) > most:
                return None
            continue
        (side, rest), other = _halves(region, polygons, normals[cut], float(offsets[cut]), near)
        if not rest and _has_volume(side, near):
            pieces.append(np.concatenate(side))
        work += [half for half in ((side, rest), other) if half[1]]
    return None


_Cell = tuple[list[Array], list[Array]]
"""Faces of a convex region, and what lies in it of the polyhedron's surface, as polygons (k, 3)."""


def _behind_all(region: list[Array], normals: Array, offsets: Array, near: float) -> list[Array]:
    """Corners of the piece of a region behind all planes; none where it has no volume."""
    for n, d in zip(normals, offsets, strict=True):
        region = _behind(region, n, d, near)
    return [np.concatenate(region)] if _has_volume(region, near) else []


def _halves(
    region: list[Array], polygons: list[Array], n: Array, d: float, near: float
) -> list[_Cell]:
    """Both sides of a plane, the one behind it first."""
    return [
        (
            _behind(region, sign * n, sign * d, near),
            [q for p in polygons for q in _part_behind(p, sign * n, sign * d, near)],
        )
        for sign in (1.0, -1.0)
    ]


def _box(low: Array, high: Array) -> list[Array]:
    """The six faces of a box."""
    x, y, z = zip(low.tolist(), high.tolist(), strict=True)
    corners = np.array([[a, b, c] for a in x for b in y for c in z])
    loops = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
    return [corners[list(loop)] for loop in loops]


def _normal(polygon: Array) -> Array:
    """Twice the area vector (3,) of a plane polygon."""
    twice: Array = np.cross(polygon, np.roll(polygon, -1, axis=0)).sum(axis=0)
    return twice


def _has_area(polygon: Array, near: float) -> bool:
    """Is it more than a sliver `near` wide?"""
    shifted = polygon - polygon[0]
    return bool(np.linalg.norm(_normal(shifted)) > near * np.abs(shifted).max())


def _has_volume(region: Sequence[Array], near: float) -> bool:
    """Is it thicker than `near` in every direction?"""
    if len(region) < 4:
        return False
    points = np.concatenate(region)
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[2] > 4 * near)


def _planes(polygons: Sequence[Array]) -> tuple[Array, Array]:
    normals = np.array([_normal(p - p[0]) for p in polygons])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return normals, np.array([p.mean(axis=0) @ n for p, n in zip(polygons, normals, strict=True)])


def _best_cut(polygons: Sequence[Array], normals: Array, offsets: Array, near: float) -> int | None:
    """The plane with polygons in front of it that cuts fewest; None where all are behind all."""
    points = np.concatenate(polygons)
    start = np.cumsum([0, *(len(p) for p in polygons[:-1])])
    found: list[int] = []
    for some in np.array_split(np.arange(len(polygons)), max(1, len(polygons) // 128)):
        height = (points @ normals[some].T - offsets[some]).max(axis=0)
        found += [int(k) for k in some[height > 2 * near]]
    if not found:
        return None
    chosen = np.array(found)[:: max(1, len(found) // CANDIDATES)]
    height = points @ normals[chosen].T - offsets[chosen]
    front = np.maximum.reduceat(height, start) > near
    behind = np.minimum.reduceat(height, start) < -near
    cost = 8 * (front & behind).sum(axis=0) + np.abs(front.sum(axis=0) - behind.sum(axis=0))
    return int(chosen[np.argmin(cost)])


def _part_behind(polygon: Array, n: Array, d: float, near: float) -> list[Array]:
    """What of a convex polygon lies behind the plane x . n = d; nothing of one that lies in it."""
    height = polygon @ n - d
    if height.max() <= near:
        return [polygon] if height.min() < -near else []
    if height.min() >= -near:
        return []
    part = _cut(polygon, np.where(np.abs(height) <= near, 0.0, height))[0]
    return [part] if len(part) > 2 and _has_area(part, near) else []


def _cut(polygon: Array, height: Array) -> tuple[Array, list[Array]]:
    """The part at height <= 0, and its corners at height 0."""
    kept, level = [], []
    loop = [*range(len(polygon)), 0]
    for i, j in pairwise(loop):
        if height[i] <= 0:
            kept.append(polygon[i])
            if height[i] == 0:
                level.append(polygon[i])
        if height[i] * height[j] < 0:
            t = height[i] / (height[i] - height[j])
            kept.append((1 - t) * polygon[i] + t * polygon[j])
            level.append(kept[-1])
    return np.array(kept).reshape(-1, 3), level


def _behind(region: Sequence[Array], n: Array, d: float, near: float) -> list[Array]:
    """Cut a convex region, given as its faces, at the plane x . n = d; keep what is behind."""
    kept: list[Array] = []
    rim: list[Array] = []
    was_cut = False
    for face in region:
        height = face @ n - d
        height = np.where(np.abs(height) <= near, 0.0, height)
        was_cut |= bool((height > 0).any())
        part, level = _cut(face, height)
        if len(part) > 2 and (height < 0).any():
            kept.append(part)
        rim += level
    if not was_cut:
        return list(region)
    if len(rim) > 2 and kept:
        points = np.array(rim)
        kept.append(points[_around(points, np.arange(len(points)), n)])
    return kept
