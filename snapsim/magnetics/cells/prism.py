"""Cells of a prism: wedges on a triangulated outline, in layers thinner toward both ends.

Points stand along the outline, closer toward its corners, and inside at a spacing that grows away
from it; Delaunay's triangles between them that lie within are drawn out along z. The outline is
followed exactly, so the volume is exact. Mirror plane: z = 0.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.errors import ComputationError
from snapsim.magnetics.cells.layers import stacked
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.scattering import FINE, lattice, spread
from snapsim.magnetics.cells.spacing import at_least, toward_both_ends, toward_end
from snapsim.parts.shapes import Prism

GRADING: Final = 0.85
ALONG_SIDES: Final = 0.6
RIM: Final = 0.6
"""Spacing along the outline over that in the interior."""
GROWTH: Final = 0.5
"""How much the spacing grows a length away from the outline."""
UNIT: Final = 20
"""The first of the divisions is UNIT x root of the area / spacing."""


def divisions(shape: Prism, base_cells: float) -> Divisions:
    """Return the fineness of the triangles, how often each is halved, and layers in half of z."""
    best, closest = (UNIT, 1, 1), np.inf
    side = float(np.sqrt(shape.volume / shape.length))
    fineness = UNIT * (2 * base_cells / shape.volume) ** (1 / 3) * side
    for _ in range(6):
        n = max(2, round(fineness))
        along = at_least(1, shape.length / 2, 0.8 * UNIT * side / n)
        count = len(_triangles(shape, n)[1]) * along
        miss = abs(np.log(count / base_cells))
        if miss < closest:
            best, closest = (n, 1, along), miss
        fineness = n * (base_cells / count) ** (1 / 3)
    return best


def octant(shape: Prism, cut: Divisions) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the half z >= 0."""
    fineness, halvings, along = cut
    flat, loops = _triangles(shape, fineness)
    while halvings > 1:
        flat, loops = halved_triangles(flat, loops)
        halvings //= 2
    return stacked(flat, loops[:, [0, 1, 2, 2]], shape.length / 2 * toward_end(along, GRADING))


def halved(shape: Prism, cut: Divisions) -> Divisions:
    """The same triangles, each in four."""
    return cut[0], 2 * cut[1], 2 * cut[2]


def _triangles(shape: Prism, fineness: int) -> tuple[Array, IntArray]:
    """Points (k, 2) [m] and counter-clockwise triangles (q, 3) that fill the outline."""
    polygon = shape.polygon
    size = UNIT * float(np.sqrt(shape.volume / shape.length)) / fineness
    sides = [at_least(1, float(s), RIM * size) for s in _side_lengths(polygon)]
    for _ in range(8):
        rim, owner = _along(polygon, sides)
        points = np.concatenate([rim, _inside(polygon, rim, size)])
        loops, missing = _delaunay(points, polygon, len(rim), owner)
        if not missing:
            return points, loops
        sides = [2 * n if k in missing else n for k, n in enumerate(sides)]
    raise ComputationError("no cells could be made for a prism: its outline is too intricate")


def _side_lengths(polygon: Array) -> Array:
    length: Array = np.linalg.norm(np.roll(polygon, -1, axis=0) - polygon, axis=1)
    return length


def _along(polygon: Array, sides: list[int]) -> tuple[Array, IntArray]:
    """Points of the outline, closer toward the corners, and the side that follows each."""
    rows = []
    for a, b, n in zip(polygon, np.roll(polygon, -1, axis=0), sides, strict=True):
        t = toward_both_ends(n, ALONG_SIDES)[:-1, None]
        rows.append((1 - t) * a + t * b)
    return np.concatenate(rows), np.repeat(np.arange(len(sides)), sides)


def _inside(polygon: Array, rim: Array, size: float) -> Array:
    """Points of the interior at the wanted spacing."""
    points = lattice(polygon.min(axis=0), polygon.max(axis=0), FINE * RIM * size)
    points = points[contains(polygon, points)]
    away = _distance(polygon, points)
    spacing = np.minimum(size, RIM * size + GROWTH * away)
    chosen = away > 0.5 * RIM * size
    order = np.argsort(np.round(away[chosen] / (RIM * size)), kind="stable")
    return spread(rim, points[chosen][order], spacing[chosen][order])


def contains(polygon: Array, points: Array) -> Array:
    """Which points (n, 2) a simple polygon contains (crossing number)."""
    inside = np.zeros(len(points), dtype=bool)
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if a[1] != b[1]:
            spans = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
            x = a[0] + (points[:, 1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
            inside ^= spans & (points[:, 0] < x)
    return inside


def _distance(polygon: Array, points: Array) -> Array:
    """Distance (n,) [m] of points (n, 2) from the outline."""
    least = np.full(len(points), np.inf)
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        e = b - a
        t = np.clip((points - a) @ e / (e @ e), 0, 1)
        least = np.minimum(least, np.linalg.norm(points - a - t[:, None] * e, axis=1))
    return least


def _delaunay(
    points: Array, polygon: Array, rim: int, owner: IntArray
) -> tuple[IntArray, set[int]]:
    """Triangles within the outline, and the sides of it that are not all edges of triangles."""
    from scipy.spatial import Delaunay  # slow to import, needed for prisms alone

    loops = Delaunay(points).simplices.astype(np.int64)
    p = points[loops]
    u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    loops = np.where(twice[:, None] > 0, loops, loops[:, ::-1])
    thick = np.abs(twice) > 1e-9 * np.maximum((u**2).sum(axis=1), (v**2).sum(axis=1))
    loops = loops[thick & contains(polygon, p.mean(axis=1))]
    edges = {(int(t[i]), int(t[(i + 1) % 3])) for t in loops for i in range(3)}
    missing = {int(owner[k]) for k in range(rim) if (k, (k + 1) % rim) not in edges}
    return loops, missing


def halved_triangles(points: Array, loops: IntArray) -> tuple[Array, IntArray]:
    """Return the mesh with every triangle cut into four at the middles of its edges."""
    edges = np.sort(loops[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
    distinct, number = np.unique(edges, axis=0, return_inverse=True)
    middle = len(points) + number.reshape(-1, 3)
    a, b, c = loops.T
    ab, bc, ca = middle.T
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    grown = np.concatenate([points, points[distinct].mean(axis=1)])
    return grown, np.concatenate([np.column_stack(part) for part in parts])


def order(cut: Divisions) -> float:
    """A permeable cube set on edge: 1.65 to 1.75."""
    return 1.75


LAYOUT = CellLayout(divisions, octant, mirrors=(2,), halved=halved, order=order, share=0.8)
