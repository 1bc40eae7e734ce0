"""Surfaces of magnets as patches that carry charge, and as sources of potential.

A uniformly magnetised body is its surface with the charge M.n. `surface_of` lays this out twice for
`face_force`: as smooth patches to integrate over, and as primitives whose potential has a closed
form, with the lines where their field is singular.

Patches, rows of `PATCH` numbers: kind; then for a plane quadrilateral its corners (4, 3), triangles
repeating the last one; else the turn (3, 3) and place (3,) of its own axes in the body's, and
    polar: z, side (+-1 along z), inner radius, outer radius or distance of a straight outer side,
           the angle of that side's normal, 1 where it is straight; runs over radius and angle;
    wall:  radius, side (+1 outward, -1 a bore), 0, 0, 0, 0; runs over z and angle.
`spans` (p, 4) are the ranges of both parameters; of a quadrilateral both run from 0 to 1.
Primitives: kind, sign, turn (9), place (3), start and end of their numbers in `numbers`; edges:
kind (0 straight: two ends; 1 a circle: centre, axis, radius). All lengths [m], body axes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon_field import polyhedron_parameters
from snapsim.magnetics.sources.hex_nut import prism
from snapsim.parts.shapes import Mesh, Piece, Prism, Shape, Sphere, as_drawn

QUADRILATERAL, POLAR, WALL = 0.0, 1.0, 2.0
POLYHEDRON, CYLINDER, BALL = 0.0, 1.0, 2.0
STRAIGHT, CIRCLE = 0.0, 1.0
QUARTER = np.pi / 2
FACETS = 32
"""Flat faces round a full circle of a shape that has no patches of its own."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A magnet's surface: `patches` (p, 19) with `spans` (p, 4), `balls` (b, 4) centre and volume,
    `primitives` (k, 16) with `numbers`, `edges` (e, 8); `size` [m] is its largest extent."""

    patches: Array
    spans: Array
    balls: Array
    primitives: Array
    numbers: Array
    edges: Array
    size: float

    @property
    def is_ball(self) -> bool:
        """Is it one ball and nothing else? Then the other's field at its centre says all."""
        return len(self.balls) == 1 and not len(self.patches)


def surface_of(shape: Shape) -> Surface:
    """Return the surface of a magnet of any shape; a compound's is its members' together."""
    members = shape.members or (Piece(shape),)
    lists = _Lists()
    for member in members:
        lists.add(member)
    return Surface(
        _rows(lists.patches, 19), _rows(lists.spans, 4), _rows(lists.balls, 4),
        _rows(lists.primitives, 16), np.concatenate([np.empty(0), *lists.numbers]),
        _rows(lists.edges, 8), 2 * float(np.max(shape.extents)),
    )  # fmt: skip


def _rows(rows: Sequence[Array], width: int) -> Array:
    return np.array(rows, dtype=np.float64).reshape(-1, width)


class _Lists:
    """Patches, primitives and edges being gathered."""

    def __init__(self) -> None:
        self.patches: list[Array] = []
        self.spans: list[Array] = []
        self.balls: list[Array] = []
        self.primitives: list[Array] = []
        self.numbers: list[Array] = []
        self.edges: list[Array] = []
        self.count = 0

    def add(self, member: Piece) -> None:
        """Add one simple solid."""
        shape = member.shape
        if isinstance(shape, Sphere):
            self.balls.append(np.append(member.position, shape.volume))
            self._primitive(BALL, 1.0, member, np.array([shape.diameter / 2]))
            return
        faces = _plane_faces(shape)
        outline = None if faces is not None else shape.outline
        if outline is None:
            self._polyhedron(member, _drawn_faces(shape) if faces is None else faces)
            return
        h, bore = outline.half_length, outline.bore_radius
        if outline.polygon.size:
            loops = prism(outline.polygon, h)
            self._polyhedron(member, loops, patches=loops[2:])
            self._straight_ends(member, outline.polygon, h, bore)
        else:
            self._cylinder(member, outline.radius, h, 1.0)
            self._round_ends(member, outline.radius, h, bore)
        if bore > 0:
            self._cylinder(member, bore, h, -1.0)

    def _primitive(self, kind: float, sign: float, member: Piece, numbers: Array) -> None:
        start, self.count = self.count, self.count + len(numbers)
        ends = [float(start), float(self.count)]
        head = [np.array([kind, sign]), member.turn.ravel(), member.position, np.array(ends)]
        self.primitives.append(np.concatenate(head))
        self.numbers.append(numbers)

    def _polyhedron(
        self, member: Piece, loops: list[Array], patches: list[Array] | None = None
    ) -> None:
        """The solid of these faces; `patches` are those to integrate over, all if None."""
        packed = polyhedron_parameters(loops)
        self._primitive(POLYHEDRON, 1.0, member, packed)
        for row in packed[-19 * int(packed[1]) :].reshape(-1, 19):
            if np.abs(row[7:10] - row[13:16]).max() > 1e-9:  # a crease
                a = member.turn @ row[:3] + member.position
                b = a + row[6] * (member.turn @ row[3:6])
                self.edges.append(np.concatenate([[STRAIGHT], a, b, [0.0]]))
        for loop in loops if patches is None else patches:
            for corners in _quadrilaterals(loop):
                placed = corners @ member.turn.T + member.position
                self.patches.append(np.concatenate([[QUADRILATERAL], placed.ravel(), np.zeros(6)]))
                self.spans.append(np.array([0.0, 1.0, 0.0, 1.0]))

    def _cylinder(self, member: Piece, radius: float, h: float, sign: float) -> None:
        """A solid cylinder as a source (negative: a bore), its rims and its wall."""
        self._primitive(CYLINDER, sign, member, np.array([radius, h]))
        axis = member.turn[:, 2]
        for z in (-h, h):
            centre = member.position + z * axis
            self.edges.append(np.concatenate([[CIRCLE], centre, axis, [radius]]))
        for k in range(4):
            self._patch(WALL, member, [radius, sign, 0, 0, 0, 0], [-h, h, k, k + 1])

    def _round_ends(self, member: Piece, radius: float, h: float, bore: float) -> None:
        for side in (-1.0, 1.0):
            for k in range(4):
                form = [side * h, side, bore, radius, 0, 0]
                self._patch(POLAR, member, form, [0, 1, k, k + 1])

    def _straight_ends(self, member: Piece, polygon: Array, h: float, bore: float) -> None:
        """Ends between a bore and straight sides, in sectors."""
        for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
            start = np.arctan2(a[1], a[0])
            width = np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)
            normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
            for side in (-1.0, 1.0):
                form = [side * h, side, bore, a @ normal, np.arctan2(normal[1], normal[0]), 1]
                turns = [start / QUARTER, (start + width) / QUARTER]
                self._patch(POLAR, member, form, [0, 1, *turns])

    def _patch(self, kind: float, member: Piece, form: list[float], span: list[float]) -> None:
        """`span` counts angles in quarters."""
        head = [np.array([kind]), member.turn.ravel(), member.position, np.array(form)]
        self.patches.append(np.concatenate(head))
        self.spans.append(np.array(span) * [1, 1, QUARTER, QUARTER])


def _drawn_faces(shape: Shape) -> list[Array]:
    """The triangles of a shape of which no more is known than how it is drawn."""
    corners, triangles = as_drawn(shape, FACETS)
    return list(corners[triangles])


def _plane_faces(shape: Shape) -> list[Array] | None:
    """Faces (k, 3) of a solid bounded by planes only; None for others."""
    if isinstance(shape, Mesh):
        return list(shape.corners[shape.triangles])
    if isinstance(shape, Prism):
        return prism(shape.polygon, shape.length / 2)
    outline = shape.outline
    if outline is None or not outline.polygon.size or outline.bore_radius > 0:
        size = getattr(shape, "size", None)
        if size is None:
            return None
        a, b, c = (s / 2 for s in size)
        return prism(np.array([[-a, -b], [a, -b], [a, b], [-a, b]]), c)
    return prism(outline.polygon, outline.half_length)


def _quadrilaterals(loop: Array) -> list[Array]:
    """A face as quadrilaterals (4, 3), triangles with their last corner twice."""
    if len(loop) == 4 and _convex(loop):
        return [loop]
    return [np.vstack([loop[t], loop[t[2]]]) for t in _ears(loop)]


def _convex(loop: Array) -> bool:
    sides = np.roll(loop, -1, axis=0) - loop
    turns = np.cross(sides, np.roll(sides, -1, axis=0))
    return bool((turns @ turns.sum(axis=0) > 0).all())


def _ears(loop: Array) -> list[list[int]]:
    """Triangles of a simple plane polygon, cut off one ear at a time."""
    left, found = list(range(len(loop))), []
    normal = np.cross(loop, np.roll(loop, -1, axis=0)).sum(axis=0)
    normal = normal / np.linalg.norm(normal)
    while len(left) > 3:
        for k in range(len(left)):
            i, j, m = left[k - 1], left[k], left[(k + 1) % len(left)]
            if _ear(loop, i, j, m, [x for x in left if x not in (i, j, m)], normal):
                break
        found.append([i, j, m])
        left.remove(j)
    return [*found, left]


def _ear(loop: Array, i: int, j: int, m: int, others: list[int], normal: Array) -> bool:
    """Is the corner j of i, j, m convex, and no other corner in the triangle?"""
    a, b, c = loop[i], loop[j], loop[m]
    if np.cross(b - a, c - b) @ normal <= 0:
        return False
    p = loop[others]
    within = np.ones(len(p), dtype=bool)
    for u, v in ((a, b), (b, c), (c, a)):
        within &= np.cross(v - u, p - u) @ normal >= 0
    return not within.any()
