"""What a shape is put together from: simple solids, each with its own place.

Contact, the quadrature of magnets and the cells of compounds go over pieces, so they need to know
only the simple solids: the shapes with a convex `Outline` (a bore allowed), the ball, and the
convex polyhedron.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import ClassVar, Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.errors import InputError
from snapsim.numerics.convex_pieces import ROUNDING, convex_pieces, hull_faces
from snapsim.parts.shapes.contract import Revolution, Shape
from snapsim.parts.shapes.solid_moments import surface_moments

FACETS: Final = 48
"""Flat faces round a full circle of a shape that is none of the simple solids."""

MOST_PIECES: Final = 400


@dataclass(frozen=True, eq=False)
class Piece:
    """A solid placed in the body: x_body = turn @ x + position; `turn` (3, 3), `position` (3,)."""

    shape: Shape
    position: Array = field(default_factory=lambda: np.zeros(3))
    turn: Array = field(default_factory=lambda: np.eye(3))


def pieces_of(shape: Shape) -> tuple[Piece, ...]:
    """Return the simple solids that a shape is the union of: itself, where it is one.

    A shape that is no simple solid and names no pieces is taken as drawn: convex polyhedra fill
    its surface of `FACETS` to the circle, whose corners are its own.
    """
    if shape.pieces is not None:
        return shape.pieces
    if shape.outline is not None or shape.revolution is Revolution.CENTRE:
        return (Piece(shape),)
    parts = convex_pieces(*shape.surface(FACETS), MOST_PIECES)
    if parts is None:
        raise InputError(f"is cut into over {MOST_PIECES} convex pieces", key="shape")
    return polyhedra(parts)


def as_drawn(shape: Shape, fineness: int) -> tuple[Array, IntArray]:
    """Return the corners (n, 3) [m] and triangles (m, 3) of its surface, of its very volume."""
    corners, triangles = shape.surface(fineness)
    drawn = surface_moments(corners, triangles)[0]
    return corners * np.cbrt(shape.volume / drawn), triangles


@dataclass(frozen=True, eq=False)
class ConvexPolyhedron(Shape):
    """Convex polyhedron with plane faces, origin at its centre of volume: a piece, not a shape that
    a scene names.

    `corners` (k, 3) [m]; `loops` the corner numbers of each face, counter-clockwise from outside.
    """

    kind: ClassVar[str] = "convex_polyhedron"
    corners: Array
    loops: tuple[IntArray, ...]

    @cached_property
    def _moments(self) -> tuple[float, Array, Array]:
        return surface_moments(*self.surface(0))

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return self._moments[0]

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]."""
        return self._moments[2]

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of the smallest box about the origin that holds it."""
        return np.asarray(np.abs(self.corners).max(axis=0))

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Itself."""
        return (Piece(self),)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """Nothing: it is built from a sound shape."""
        return []

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return corners (k, 3) and triangles, fans of the faces."""
        fans = [
            [loop[0], loop[i], loop[i + 1]] for loop in self.loops for i in range(1, len(loop) - 1)
        ]
        return self.corners, np.array(fans, dtype=np.int64)


def polyhedra(pieces: Sequence[Array], tolerance: float = ROUNDING) -> tuple[Piece, ...]:
    """Return the convex hulls of sets of corners (k, 3) as placed pieces."""
    found = []
    for points in pieces:
        corners, loops = hull_faces(points, tolerance)
        raw = ConvexPolyhedron(corners, tuple(loops))
        centre = surface_moments(*raw.surface(0))[1]
        found.append(Piece(ConvexPolyhedron(corners - centre, tuple(loops)), centre))
    return tuple(found)
