"""Tetrahedra that fill any triangulated solid.

Points are spread over the sharp corners, the sharp edges, the faces and the interior, in that
order, and Delaunay's tetrahedra whose centres lie in the solid are kept. Flat faces and sharp edges
are followed where the points are denser than the solid is thick; curved ones by chords. What is
lost or gained so is made up for by the caller's stretching to the true volume.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.errors import ComputationError
from snapsim.magnetics.cells.scattering import FINE, lattice, spread
from snapsim.parts.shapes import ConvexPolyhedron, Mesh

SHARP: Final = np.cos(np.radians(25.0))
"""Cosine of the angle between faces beyond which an edge is sharp."""
UNIT: Final = 20
RIM: Final = 0.75
"""Spacing on the surface over that in the interior."""
GROWTH: Final = 0.4
MOST_POINTS: Final = 2000
"""Points of a surface beyond which a solid is called too thin for its cells."""
MOST_CANDIDATES: Final = 200_000
TOO_THIN: Final = "no cells could be made for a mesh: parts of it are too thin for so few cells"
SLIVER: Final = 6.0
"""Longest edge over height of a triangle beyond which points are spaced along both by length."""
OFF: Final = 0.1
"""Share of the volume that a mesh may miss before its surface is drawn with closer points."""


def fineness(shape: Mesh, cells: float) -> int:
    """Return UNIT x cube root of the volume / spacing for about that many tetrahedra."""
    best, closest = UNIT, np.inf
    guess = UNIT * (cells / 8) ** (1 / 3)
    for _ in range(4):
        n = max(4, round(guess))
        count = len(_delaunay(shape, n)[1])
        if abs(np.log(count / cells)) < closest:
            best, closest = n, abs(np.log(count / cells))
        guess = n * (cells / count) ** (1 / 3)
    return best


def cells(shape: Mesh, fineness: int, halvings: int) -> tuple[Array, IntArray]:
    """Return corners (p, 3) [m] and cells (c, 8) of the whole solid."""
    points, loops = _delaunay(shape, fineness)
    while halvings > 1:
        points, loops = halved(points, loops)
        halvings //= 2
    return points, loops[:, [0, 1, 2, 2, 3, 3, 3, 3]]


def _delaunay(shape: Mesh, fineness: int) -> tuple[Array, IntArray]:
    """Points (p, 3) [m] and right-handed tetrahedra (q, 4)."""
    size = UNIT * shape.volume ** (1 / 3) / fineness
    rim = RIM * size
    area = _area(shape)
    while area < MOST_POINTS * rim**2:
        surface = _surface_points(shape, rim)
        points = np.concatenate([surface, _inner_points(shape, surface, size, rim)])
        loops, volume = _kept(shape, points)
        if abs(volume / shape.volume - 1) < OFF:
            return points, loops
        rim *= 0.7
    raise ComputationError(TOO_THIN)


def _area(shape: Mesh) -> float:
    """Area of the surface [m^2]."""
    p = shape.corners[shape.triangles]
    twice = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    return float(np.linalg.norm(twice, axis=1).sum()) / 2


def _surface_points(shape: Mesh, rim: float) -> Array:
    """Sharp corners, then points of sharp edges, then points of faces, `rim` [m] apart."""
    if _candidates(shape.corners[shape.triangles], rim) > MOST_CANDIDATES:
        raise ComputationError(TOO_THIN)
    corners, edges = _sharp(shape)
    along = [corners]
    for a, b in edges:
        n = max(1, round(float(np.linalg.norm(b - a)) / (FINE * rim)))
        t = np.arange(n + 1)[:, None] / n
        along.append((1 - t) * a + t * b)
    line = np.concatenate(along)
    kept = np.concatenate([corners, spread(corners, line, np.full(len(line), rim))])
    faces = np.concatenate([shape.corners, *_on_faces(shape.corners[shape.triangles], rim)])
    return np.concatenate([kept, spread(kept, faces, np.full(len(faces), rim))])


def _candidates(triangles: Array, rim: float) -> float:
    """How many points `_on_faces` makes, at least."""
    longest = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2).max(axis=1)
    twice = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    area = np.linalg.norm(twice, axis=1) / 2
    return float((area / (FINE * rim) ** 2 + longest / (FINE * rim)).sum())


def _sharp(shape: Mesh) -> tuple[Array, list[tuple[Array, Array]]]:
    """Sharp corners (k, 3) and the ends of sharp edges."""
    p = shape.corners[shape.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    owner: dict[tuple[int, int], int] = {}
    ends: list[tuple[int, int]] = []
    for f, triangle in enumerate(shape.triangles.tolist()):
        for i in range(3):
            a, b = triangle[i], triangle[(i + 1) % 3]
            if (b, a) in owner and normal[f] @ normal[owner[b, a]] < SHARP:
                ends.append((a, b))
            owner[a, b] = f
    met: dict[int, list[Array]] = {}
    for a, b in ends:
        along = shape.corners[b] - shape.corners[a]
        along /= np.linalg.norm(along)
        met.setdefault(a, []).append(along)
        met.setdefault(b, []).append(-along)
    chosen = [v for v, u in met.items() if len(u) != 2 or u[0] @ u[1] > -SHARP]
    return shape.corners[chosen], [(shape.corners[a], shape.corners[b]) for a, b in ends]


def _on_sliver(corners: Array, along: int, across: int) -> Array:
    """Points of a slender triangle (3, 3): `across` rows from its longest edge to its top."""
    k = int(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).argmax())
    a, b, c = np.roll(corners, -k, axis=0)
    rows = []
    for v in np.arange(across + 1) / across:
        n = max(1, round(along * (1 - v)))
        u = (np.arange(n + 1) / n)[:, None]
        rows.append((1 - v) * ((1 - u) * a + u * b) + v * c)
    return np.concatenate(rows)


def _on_faces(triangles: Array, rim: float) -> list[Array]:
    """A lattice of points in each triangle."""
    found = []
    for a, b, c in triangles:
        longest = max(float(np.linalg.norm(e)) for e in (b - a, c - b, a - c))
        n = round(longest / (FINE * rim))
        if n < 2:
            continue
        height = float(np.linalg.norm(np.cross(b - a, c - a))) / longest
        if longest > SLIVER * height:
            found.append(_on_sliver(np.array([a, b, c]), n, max(1, round(n * height / longest))))
            continue
        i, j = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")
        chosen = i + j <= n
        u, v = i[chosen][:, None] / n, j[chosen][:, None] / n
        found.append((1 - u - v) * a + u * b + v * c)
    return found


def _inner_points(shape: Mesh, surface: Array, size: float, rim: float) -> Array:
    """Points of the interior, farther apart away from the surface."""
    box = 8 * float(np.prod(shape.extents))
    step = max(FINE * size, (box / MOST_CANDIDATES) ** (1 / 3))
    points = lattice(-shape.extents, shape.extents, step)
    points = points[contains(shape, points)]
    if not len(points):
        return points
    from scipy.spatial import cKDTree  # slow to import, needed for meshes alone

    away = cKDTree(surface).query(points)[0]
    spacing = np.minimum(size, rim + GROWTH * away)
    chosen = away > 0.7 * rim
    return spread(surface, points[chosen], spacing[chosen])


def contains(shape: Mesh, points: Array) -> BoolArray:
    """Which points (n, 3) lie in the solid: in one of its convex pieces."""
    inside = np.zeros(len(points), dtype=bool)
    for piece in shape.pieces:
        solid = piece.shape
        assert isinstance(solid, ConvexPolyhedron)
        deep = np.full(len(points), -np.inf)
        for loop in solid.loops:
            p = solid.corners[loop] + piece.position
            n = np.cross(p, np.roll(p, -1, axis=0)).sum(axis=0)
            n /= np.linalg.norm(n)
            deep = np.maximum(deep, (points - p[0]) @ n)
        inside |= deep <= 0
    return inside


def _kept(shape: Mesh, points: Array) -> tuple[IntArray, float]:
    """Right-handed tetrahedra whose centres lie in the solid, and their volume [m^3]."""
    from scipy.spatial import Delaunay, QhullError

    try:
        loops = Delaunay(points).simplices.astype(np.int64)
    except QhullError:  # too few points for a solid
        return np.empty((0, 4), dtype=np.int64), 0.0
    p = points[loops]
    e = p[:, 1:] - p[:, :1]
    volume = np.linalg.det(e) / 6
    loops = np.where(volume[:, None] > 0, loops, loops[:, [0, 2, 1, 3]])
    size = np.linalg.norm(e, axis=2).max(axis=1)
    chosen = (np.abs(volume) > 1e-7 * size**3) & contains(shape, p.mean(axis=1))
    return loops[chosen], float(np.abs(volume[chosen]).sum())


def halved(points: Array, loops: IntArray) -> tuple[Array, IntArray]:
    """Return the mesh with every tetrahedron cut into eight at the middles of its edges."""
    pairs = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
    edges = np.sort(loops[:, pairs], axis=2).reshape(-1, 2)
    distinct, number = np.unique(edges, axis=0, return_inverse=True)
    ab, ac, ad, bc, bd, cd = (len(points) + number.reshape(-1, 6)).T
    a, b, c, d = loops.T
    parts = [
        (a, ab, ac, ad), (ab, b, bc, bd), (ac, bc, c, cd), (ad, bd, cd, d),
        (ab, ac, ad, bd), (ab, ac, bd, bc), (cd, ad, ac, bd), (cd, ac, bc, bd),
    ]  # fmt: skip
    grown = np.concatenate([points, points[distinct].mean(axis=1)])
    cut = np.concatenate([np.column_stack(part) for part in parts])
    e = grown[cut[:, 1:]] - grown[cut[:, :1]]
    return grown, np.where(np.linalg.det(e)[:, None] > 0, cut, cut[:, [0, 2, 1, 3]])
