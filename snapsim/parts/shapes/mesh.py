"""A solid given by a closed triangulated surface.

The surface may stand anywhere in the author's coordinates; the body's origin is put at its centre
of volume (`drawn_centre` says where that is in them). A surface that is inside out all over is
turned (`was_turned`). Checked: closed, consistently oriented, not crossing itself, no more than
`MOST_TRIANGLES`, convex or made of at most `MOST_PIECES` convex pieces.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics.convex_pieces import convex_pieces
from snapsim.parts.shapes import closed_surface, symmetry
from snapsim.parts.shapes.contract import Shape
from snapsim.parts.shapes.pieces import Piece, polyhedra
from snapsim.parts.shapes.solid_moments import surface_moments

MOST_TRIANGLES: Final = 5000
MOST_PIECES: Final = 400
SMALLEST: Final = 1e-3
LARGEST: Final = 5.0
"""Lengths [m] between which a mesh is what one would put on a stage."""


@dataclass(frozen=True, eq=False)
class Mesh(Shape):
    """Solid inside `drawn` corners (n, 3) [m] and `loops` (m, 3), triangles of corner numbers."""

    kind: ClassVar[str] = "mesh"
    drawn: Array
    loops: IntArray

    @cached_property
    def _moments(self) -> tuple[float, Array, Array]:
        return surface_moments(self.drawn, self.loops)

    @property
    def was_turned(self) -> bool:
        """Was the surface inside out as given?"""
        return self._moments[0] < 0

    @property
    def drawn_centre(self) -> Array:
        """Centre of mass (3,) [m] in the coordinates of the file."""
        return self._moments[1]

    @cached_property
    def corners(self) -> Array:
        """Corners (n, 3) [m], body axes."""
        return self.drawn - self._moments[1]

    @cached_property
    def triangles(self) -> IntArray:
        """Outward triangles (m, 3)."""
        return np.ascontiguousarray(self.loops[:, ::-1] if self.was_turned else self.loops)

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return abs(self._moments[0])

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]."""
        return self._moments[2]

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of the smallest box about the origin that holds it."""
        return np.asarray(np.abs(self.corners).max(axis=0))

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Convex polyhedra that fill it; none where there would be more than `MOST_PIECES`."""
        parts = convex_pieces(self.corners, self.triangles, MOST_PIECES)
        return () if parts is None else polyhedra(parts)

    @cached_property
    def symmetries(self) -> list[Array]:
        """Those that its corners and triangles have along the axes of its drawing."""
        return symmetry.of_surface(self.corners, self.triangles)

    @property
    def remarks(self) -> list[str]:
        """An inside-out surface, or a size that no stage would have."""
        found = []
        if self.was_turned:
            found.append("the mesh was inside out and has been turned")
        size = float(np.ptp(self.corners, axis=0).max())
        if not SMALLEST <= size <= LARGEST:
            found.append(f"the mesh is {size:.3g} m long; is the unit of its file right?")
        return found

    @cached_property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the surface; empty when sound."""
        found = closed_surface.complaints(self.drawn, self.loops, MOST_TRIANGLES)
        if not found and not self.pieces:
            found = [
                f"has more hollows than can be computed: it falls into over {MOST_PIECES} convex"
                " pieces; use fewer triangles, or a ring, prism or compound"
            ]
        return [("file", p) for p in found]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles), as given."""
        return self.corners, self.triangles
