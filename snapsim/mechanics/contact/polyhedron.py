"""Exact signed distance of a point from a convex polyhedron, and its extent along a direction.

Inside, d is the largest of the heights above the face planes. Outside, the nearest point lies on a
face that the point is in front of: at its foot on that face's plane if the foot is within the face
(then no other point is nearer, since the plane bounds the solid), else on an edge of such a face.
Ericson, Real-Time Collision Detection, 2005, sections 5.1 and 5.4 (from memory).

A polyhedron's table: numbers of CORNERS, EDGES and FACES; three coordinates a corner; PER_EDGE
numbers an edge (start, unit direction, length); PER_FACE numbers a face (unit normal, its height
over the origin, where its sides begin in the table, how many); PER_EDGE numbers a side, as an edge,
counter-clockwise round the face. Metres, axes of the piece.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import ConvexPolyhedron

CORNERS, EDGES, FACES, FIRST_CORNER = 0, 1, 2, 3
PER_EDGE, PER_FACE = 7, 6


def length(solid: ConvexPolyhedron) -> int:
    """Return how many numbers the table has."""
    sides = sum(map(len, solid.loops))
    edges = len(_edges(solid))
    return (
        FIRST_CORNER
        + 3 * len(solid.corners)
        + PER_EDGE * (edges + sides)
        + PER_FACE * len(solid.loops)
    )


def _edges(solid: ConvexPolyhedron) -> list[tuple[int, int]]:
    """Pairs of corner numbers, each once."""
    pairs = {
        (min(a, b), max(a, b))
        for loop in solid.loops
        for a, b in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True)
    }
    return sorted(pairs)


def table(solid: ConvexPolyhedron) -> Array:
    """Return the table."""
    edges = np.array(_edges(solid))
    corners = solid.corners
    head = [np.array([len(corners), len(edges), len(solid.loops)], dtype=np.float64)]
    head += [corners.ravel(), _segments(corners[edges[:, 0]], corners[edges[:, 1]]).ravel()]
    start = sum(map(len, head)) + PER_FACE * len(solid.loops)
    faces, sides = [], []
    for loop in solid.loops:
        p = corners[loop]
        normal = np.cross(p, np.roll(p, -1, axis=0)).sum(axis=0)
        normal /= np.linalg.norm(normal)
        faces.append(np.concatenate([normal, [(corners @ normal).max(), start, len(loop)]]))
        sides.append(_segments(p, np.roll(p, -1, axis=0)).ravel())
        start += len(sides[-1])
    return np.concatenate([*head, *faces, *sides])


def _segments(a: Array, b: Array) -> Array:
    """Start, unit direction and length (k, 7)."""
    size = np.linalg.norm(b - a, axis=1, keepdims=True)
    return np.hstack([a, (b - a) / size, size])


@bare
def _first_face(t: Array) -> int:
    return FIRST_CORNER + 3 * int(t[CORNERS]) + PER_EDGE * int(t[EDGES])


@bare
def plane(t: Array, k: int) -> tuple[float, float, float, float]:
    """Return the unit normal and the height over the origin of face `k`."""
    at = _first_face(t) + PER_FACE * k
    return t[at], t[at + 1], t[at + 2], t[at + 3]


@bare
def support(t: Array, x: float, y: float, z: float) -> float:
    """Return the largest p . (x, y, z) over the solid."""
    best = -np.inf
    for k in range(int(t[CORNERS])):
        at = FIRST_CORNER + 3 * k
        best = max(best, t[at] * x + t[at + 1] * y + t[at + 2] * z)
    return float(best)


@bare
def signed_distance(t: Array, x: float, y: float, z: float) -> tuple[float, float, float, float]:
    """Return (d, gradient x, y, z) at a point."""
    first = _first_face(t)
    top, nx, ny, nz = -np.inf, 0.0, 0.0, 1.0
    for k in range(int(t[FACES])):
        at = first + PER_FACE * k
        height = t[at] * x + t[at + 1] * y + t[at + 2] * z - t[at + 3]
        if height > top:
            top, nx, ny, nz = height, t[at], t[at + 1], t[at + 2]
    if top <= 0.0:
        return top, nx, ny, nz
    best, bx, by, bz = np.inf, 0.0, 0.0, 0.0
    for k in range(int(t[FACES])):
        at = first + PER_FACE * k
        height = t[at] * x + t[at + 1] * y + t[at + 2] * z - t[at + 3]
        if height <= 0.0:
            continue
        within, d2, rx, ry, rz = _rim(t, at, x, y, z)
        if within:
            return height, t[at], t[at + 1], t[at + 2]
        if d2 < best:
            best, bx, by, bz = d2, rx, ry, rz
    d = sqrt(best)
    if d == 0.0:
        return 0.0, nx, ny, nz
    return d, bx / d, by / d, bz / d


@bare
def _rim(
    t: Array, face: int, x: float, y: float, z: float
) -> tuple[bool, float, float, float, float]:
    """Is the point's foot within the face; else the squared distance and vector from its rim."""
    nx, ny, nz = t[face], t[face + 1], t[face + 2]
    start, count = int(t[face + 4]), int(t[face + 5])
    within, best, bx, by, bz = True, np.inf, 0.0, 0.0, 0.0
    for i in range(count):
        at = start + PER_EDGE * i
        px, py, pz = x - t[at], y - t[at + 1], z - t[at + 2]
        ux, uy, uz = t[at + 3], t[at + 4], t[at + 5]
        # u x n points out of the face
        out = px * (uy * nz - uz * ny) + py * (uz * nx - ux * nz) + pz * (ux * ny - uy * nx)
        if out <= 0.0:
            continue
        within = False
        s = min(max(px * ux + py * uy + pz * uz, 0.0), t[at + 6])
        rx, ry, rz = px - s * ux, py - s * uy, pz - s * uz
        d2 = rx * rx + ry * ry + rz * rz
        if d2 < best:
            best, bx, by, bz = d2, rx, ry, rz
    return within, best, bx, by, bz
