"""Geometry shared by every extruded shape: volume, gyration and surface of an `Outline`.

Second moments of a polygon by Green's theorem (Beer & Johnston, Mechanics of Materials, appendix A;
from memory); a bore is a negative disc.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes.contract import Outline


def volume(outline: Outline) -> float:
    """Return the volume [m^3]."""
    return 2 * outline.half_length * _area_and_moments(outline)[0]


def gyration(outline: Outline) -> Array:
    """Return the inertia tensor per mass (3, 3) about the centre [m^2]."""
    area, sxx, syy = _area_and_moments(outline)
    x2, y2, z2 = sxx / area, syy / area, outline.half_length**2 / 3
    return np.diag([y2 + z2, x2 + z2, x2 + y2])


def _area_and_moments(outline: Outline) -> tuple[float, float, float]:
    """Area [m^2] and second moments of x and of y [m^4] of the profile less its bore."""
    if outline.polygon.size:
        x, y = outline.polygon.T
        x1, y1 = np.roll(x, -1), np.roll(y, -1)
        cross = x * y1 - x1 * y
        area = float(cross.sum()) / 2
        sxx = float((cross * (x * x + x * x1 + x1 * x1)).sum()) / 12
        syy = float((cross * (y * y + y * y1 + y1 * y1)).sum()) / 12
    else:
        area = np.pi * outline.radius**2
        sxx = syy = np.pi * outline.radius**4 / 4
    bore = np.pi * outline.bore_radius**4 / 4
    return area - np.pi * outline.bore_radius**2, sxx - bore, syy - bore


def surface(outline: Outline, fineness: int) -> tuple[Array, IntArray]:
    """Return corners (n, 3) and outward triangles (m, 3); round edges have `fineness` pieces."""
    outer, inner = _loops(outline, fineness)
    n, h = len(outer), outline.half_length
    rings = [outer, inner if inner is not None else np.zeros((1, 2))]
    corners = np.concatenate(
        [np.column_stack([r, np.full(len(r), z)]) for z in (h, -h) for r in rings]
    )
    i = np.arange(n)
    j = (i + 1) % n
    top, bottom = 0, n + len(rings[1])
    parts = _wall(top + i, top + j, bottom + i, bottom + j)
    if inner is None:
        parts += [
            _tri(top + i, top + j, top + n + 0 * i),
            _tri(bottom + j, bottom + i, bottom + n + 0 * i),
        ]
    else:
        parts += _wall(top + n + j, top + n + i, bottom + n + j, bottom + n + i)
        parts += _wall(top + n + i, top + n + j, top + i, top + j)
        parts += _wall(bottom + i, bottom + j, bottom + n + i, bottom + n + j)
    return corners, np.concatenate(parts).astype(np.int64)


def _loops(outline: Outline, fineness: int) -> tuple[Array, Array | None]:
    """Outer and inner loop (n, 2) with equally many corners, paired by direction."""
    if not outline.polygon.size:
        angle = 2 * np.pi * np.arange(fineness) / fineness
        outer = outline.radius * np.column_stack([np.cos(angle), np.sin(angle)])
    elif outline.bore_radius:
        outer = _refine(outline.polygon, max(1, fineness // len(outline.polygon)))
    else:
        outer = outline.polygon
    if not outline.bore_radius:
        return outer, None
    direction = outer / np.linalg.norm(outer, axis=1, keepdims=True)
    return outer, outline.bore_radius * direction


def _refine(polygon: Array, pieces: int) -> Array:
    """Cut every side into `pieces` equal parts; returns (k * pieces, 2)."""
    t = (np.arange(pieces) / pieces)[None, :, None]
    following = np.roll(polygon, -1, axis=0)
    return ((1 - t) * polygon[:, None] + t * following[:, None]).reshape(-1, 2)


def _tri(a: IntArray, b: IntArray, c: IntArray) -> IntArray:
    return np.column_stack([a, b, c])


def _wall(a: IntArray, b: IntArray, c: IntArray, d: IntArray) -> list[IntArray]:
    """Two triangles a quadrilateral: a, b along the upper loop, c, d below them."""
    return [_tri(a, c, d), _tri(a, d, b)]
