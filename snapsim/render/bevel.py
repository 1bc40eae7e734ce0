"""Rounded edges, in the drawing only: a sharp edge catches no light, a broken one does.

A closed surface of triangles is taken apart into patches that meet at sharp edges. Each patch is
drawn in from its rim by a setback; the gap along an edge is closed by a strip whose cross-section
is the parabola through both rims that touches both patches (a quadratic Bezier curve with the old
corner as its middle point), the hole at a corner by a fan. Contact and magnetics know the shape
as it was described; a setback is a few hundredths of a body's size.
"""

from __future__ import annotations

import numpy as np
import pyvista as pv
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from snapsim.arrays import Array, IntArray

SHARP = 30.0  # degrees between faces above which an edge is rounded
ACROSS = 4  # pieces of a strip
SHARE = 0.035  # setback over a body's half size, at most a tenth of its least
LARGEST = 0.0022  # m
COARSE = 0.09  # longest edge of a triangle over the body's size: colours need points within faces


def setback_of(extents: Array) -> float:
    """Return how far patches are drawn in [m] for a body of half sizes (3,)."""
    biggest, least = float(extents.max()), float(extents.min())
    return min(SHARE * biggest, 0.1 * 2 * least, LARGEST)


def rounded(corners: Array, triangles: IntArray, setback: float) -> pv.PolyData:
    """Return the surface (n, 3), (m, 3) with its sharp edges rounded, and its normals."""
    points, faces = _refined(corners, triangles)
    patch, edges = _patches(points, faces)
    copy, of = np.unique(np.column_stack([faces.ravel(), np.repeat(patch, 3)]), axis=0,
                         return_inverse=True)  # fmt: skip
    drawn = of.reshape(-1, 3)  # the faces by their patches' own copies of the points
    number = {(int(v), int(p)): k for k, (v, p) in enumerate(copy)}
    inward = _inward(points, faces, edges, patch, number, len(copy))
    place = _drawn_in(points[copy[:, 0]], drawn, inward, setback)
    normal = _normals(place, drawn, len(copy))
    mesh = _Pieces(place, normal)
    mesh.add(drawn)
    _close(mesh, points, faces, edges, patch, number)
    return mesh.poly()


def with_normals(mesh: pv.PolyData, normals: Array) -> pv.PolyData:
    """Return the mesh with normals (n, 3) of its points as those it is lit by."""
    mesh.point_data["Normals"] = np.ascontiguousarray(normals, dtype=np.float32)
    mesh.GetPointData().SetActiveNormals("Normals")
    return mesh


def _refined(corners: Array, triangles: IntArray) -> tuple[Array, IntArray]:
    size = float(np.linalg.norm(np.ptp(corners, axis=0)))
    flat = np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
    mesh = pv.PolyData(corners, flat).clean(tolerance=1e-7)
    fine = mesh.subdivide_adaptive(max_edge_len=COARSE * size, max_n_passes=6)
    fine = fine.clean(tolerance=1e-7).triangulate()
    return np.asarray(fine.points, dtype=np.float64), np.asarray(fine.regular_faces, dtype=np.int64)


def _face_normals(points: Array, faces: IntArray) -> Array:
    a, b, c = (points[faces[:, k]] for k in range(3))
    found: Array = np.cross(b - a, c - a)
    return found


def _patches(points: Array, faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return each face's patch (m,), and sharp edges (k, 4): from, to, the face on whose rim they
    run so, and the other face."""
    ends = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(faces)), 3)
    order = np.lexsort((ends.max(axis=1), ends.min(axis=1)))
    key = np.sort(ends[order], axis=1)
    same = (key[1:] == key[:-1]).all(axis=1)
    first = np.flatnonzero(same)
    first = first[np.r_[True, np.diff(first) > 1]]  # an edge of three faces counts once
    f, g = owner[order[first]], owner[order[first + 1]]
    n = _face_normals(points, faces)
    n /= np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-300)
    sharp = (n[f] * n[g]).sum(axis=1) < np.cos(np.radians(SHARP))
    joined = coo_array(
        (np.ones((~sharp).sum()), (f[~sharp], g[~sharp])), shape=(len(faces), len(faces))
    )
    patch: IntArray = connected_components(joined, directed=False)[1].astype(np.int64)
    edges = np.column_stack([ends[order[first]], f, g])[sharp]
    return patch, edges[patch[edges[:, 2]] != patch[edges[:, 3]]]


def _inward(
    points: Array,
    faces: IntArray,
    edges: IntArray,
    patch: IntArray,
    number: dict[tuple[int, int], int],
    count: int,
) -> Array:
    """Return how copies of points move for a setback of 1 (count, 3): away from every sharp edge
    that they lie on, by as much."""
    total, ways = np.zeros((count, 3)), list[tuple[int, Array]]()
    for a, b, *beside in edges:
        along = points[b] - points[a]
        for face in beside:
            third = points[faces[face]].sum(axis=0) - points[a] - points[b]
            t = third - points[a]
            t = t - (t @ along) / (along @ along) * along
            t /= max(float(np.linalg.norm(t)), 1e-300)
            for v in (a, b):
                k = number[int(v), int(patch[face])]
                total[k] += t
                ways.append((k, t))
    reach, times = np.zeros(count), np.zeros(count)
    for k, t in ways:
        reach[k] += total[k] @ t
        times[k] += 1
    mean = reach / np.maximum(times, 1)
    found: Array = np.where(mean[:, None] > 0.15, total / np.maximum(mean, 0.15)[:, None], 0.0)
    return found


def _drawn_in(place: Array, drawn: IntArray, inward: Array, setback: float) -> Array:
    """Return the copies' places; where a face would turn over, its points move less."""
    share = np.full(len(place), setback)
    was = _face_normals(place, drawn)
    for _ in range(6):
        moved: Array = place + share[:, None] * inward
        now = _face_normals(moved, drawn)
        turned = (was * now).sum(axis=1) < 0.02 * (was * was).sum(axis=1)
        if not turned.any():
            return moved
        share[np.unique(drawn[turned])] *= 0.5
    share[np.unique(drawn[turned])] = 0.0
    settled: Array = place + share[:, None] * inward
    return settled


def _normals(place: Array, drawn: IntArray, count: int) -> Array:
    """Normals (count, 3) of copies: the mean of their faces', each by its angle there."""
    face = _face_normals(place, drawn)
    face /= np.maximum(np.linalg.norm(face, axis=1, keepdims=True), 1e-300)
    total = np.zeros((count, 3))
    for k in range(3):
        a, b, c = (place[drawn[:, (k + j) % 3]] for j in range(3))
        u, v = b - a, c - a
        lengths = np.linalg.norm(u, axis=1) * np.linalg.norm(v, axis=1)
        cosine = (u * v).sum(axis=1) / np.maximum(lengths, 1e-300)
        np.add.at(total, drawn[:, k], face * np.arccos(np.clip(cosine, -1, 1))[:, None])
    found: Array = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)
    return found


class _Pieces:
    """A surface that grows."""

    def __init__(self, place: Array, normal: Array) -> None:
        self.place, self.normal = [*place], [*normal]
        self._faces: list[IntArray] = []

    def point(self, place: Array, normal: Array) -> int:
        self.place.append(place)
        self.normal.append(normal / max(float(np.linalg.norm(normal)), 1e-300))
        return len(self.place) - 1

    def add(self, faces: IntArray) -> None:
        self._faces.append(np.asarray(faces).reshape(-1, 3))

    def poly(self) -> pv.PolyData:
        faces = np.concatenate(self._faces)
        mesh = pv.PolyData(
            np.array(self.place), np.column_stack([np.full(len(faces), 3), faces]).ravel()
        )
        return with_normals(mesh, np.array(self.normal))


def _close(
    mesh: _Pieces,
    points: Array,
    faces: IntArray,
    edges: IntArray,
    patch: IntArray,
    number: dict[tuple[int, int], int],
) -> None:
    """Fill the gaps along edges, and the holes where three patches or more meet."""
    curves: dict[tuple[int, int, int], list[int]] = {}
    rims: dict[int, list[tuple[int, int]]] = {}

    def curve(v: int, p: int, q: int) -> list[int]:
        key = v, min(p, q), max(p, q)
        if key not in curves:
            curves[key] = _curve(mesh, points[v], number[v, key[1]], number[v, key[2]])
        return curves[key] if p < q else curves[key][::-1]

    strips = []
    for a, b, f, g in edges.tolist():
        p, q = int(patch[f]), int(patch[g])
        left, right = curve(a, p, q), curve(b, p, q)
        for k in range(ACROSS):
            strips += [(right[k], left[k], left[k + 1]), (right[k], left[k + 1], right[k + 1])]
            rims.setdefault(a, []).append((left[k + 1], left[k]))
            rims.setdefault(b, []).append((right[k], right[k + 1]))
    for v, rim in rims.items():
        around = {m for (w, *pq) in curves if w == v for m in pq} if len(rim) > 2 * ACROSS else ()
        if len(around) > 2:
            strips += _fan(mesh, points[v], rim)
    if strips:
        mesh.add(np.array(strips))


def _curve(mesh: _Pieces, corner: Array, first: int, last: int) -> list[int]:
    """Numbers of the points of a curve from one patch's rim to another's, round a corner."""
    a, c = mesh.place[first], mesh.place[last]
    n, m = mesh.normal[first], mesh.normal[last]
    within = []
    for u in np.arange(1, ACROSS) / ACROSS:
        place = (1 - u) ** 2 * a + 2 * u * (1 - u) * corner + u**2 * c
        within.append(mesh.point(place, (1 - u) * n + u * m))
    return [first, *within, last]


def _fan(mesh: _Pieces, corner: Array, rim: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
    around = [k for pair in rim for k in pair]
    middle = np.mean([mesh.place[k] for k in around], axis=0)
    normal = np.mean([mesh.normal[k] for k in around], axis=0)
    top = mesh.point(middle + 0.12 * (corner - middle), normal)
    return [(u, w, top) for u, w in rim]
