"""A right prism: any simple outline in the body x-y plane, drawn out along body z.

The outline is given in the author's own coordinates; the body's origin is put at its centroid
(`drawn_centre` says where that is in the drawing), half way along the length.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics.convex_pieces import convex_pieces, hull_faces
from snapsim.parts.shapes import polygon as flat
from snapsim.parts.shapes import symmetry
from snapsim.parts.shapes.box import Box
from snapsim.parts.shapes.contract import Outline, Shape
from snapsim.parts.shapes.pieces import Piece
from snapsim.parts.shapes.validity import not_positive

MOST_CORNERS: Final = 400
MOST_PIECES: Final = 400
ROUNDING: Final = 1e-10


@dataclass(frozen=True)
class Prism(Shape):
    """Prism of `length` [m] on the outline `points`, corners (x, y) [m] in either sense."""

    kind: ClassVar[str] = "prism"
    points: tuple[tuple[float, float], ...]
    length: float

    @cached_property
    def drawn_centre(self) -> Array:
        """Centre of mass (3,) [m] in the coordinates of `points`, half way along the length."""
        return np.append(flat.moments(np.array(self.points))[1], 0.0)

    @cached_property
    def polygon(self) -> Array:
        """Corners (k, 2) [m] about the centroid, counter-clockwise, no straight ones."""
        points = np.array(self.points, dtype=np.float64)
        area, centroid, _ = flat.moments(points)
        return flat.without_straight_corners((points if area > 0 else points[::-1]) - centroid)

    @property
    def is_convex(self) -> bool:
        """Is the outline convex?"""
        return flat.is_convex(self.polygon)

    @property
    def simplest(self) -> Shape:
        """The block that it is, where the outline is a rectangle along the axes; else itself."""
        half = np.abs(self.polygon)
        if len(half) != 4 or not np.allclose(half, half[0], rtol=1e-12, atol=0):
            return self
        return Box((2 * float(half[0, 0]), 2 * float(half[0, 1]), self.length))

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return abs(flat.moments(np.array(self.points))[0]) * self.length

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]."""
        area, _, second = flat.moments(self.polygon)
        spread = np.diag([0.0, 0.0, self.length**2 / 12])
        spread[:2, :2] = second / area
        return np.asarray(np.trace(spread) * np.eye(3) - spread)

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of the smallest box about the origin that holds it."""
        return np.append(np.abs(self.polygon).max(axis=0), self.length / 2)

    @property
    def outline(self) -> Outline | None:
        """The outline where it is convex, else None: then `pieces` are."""
        return Outline(self.length / 2, 0.0, self.polygon, 0.0) if self.is_convex else None

    @cached_property
    def pieces(self) -> tuple[Piece, ...] | None:
        """Convex prisms that fill a prism with re-entrant corners; None for a convex one."""
        if self.is_convex:
            return None
        parts = convex_pieces(*self.surface(0), MOST_PIECES, ROUNDING)
        if parts is None:
            return ()
        return tuple(self._piece(part) for part in parts)

    def _piece(self, corners: Array) -> Piece:
        corners, loops = hull_faces(corners, ROUNDING)
        top = max(loops, key=lambda loop: float(corners[loop, 2].min()))
        prism = Prism(tuple((float(x), float(y)) for x, y in corners[top, :2]), self.length)
        return Piece(prism, prism.drawn_centre)

    @property
    def symmetries(self) -> list[Array]:
        """Those of the outline, and up for down."""
        return symmetry.of_right_prism(self.polygon)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        found = [("length", p) for p in not_positive(self.length)]
        points = np.array(self.points, dtype=np.float64)
        return found or [("points", p) for p in _wrong(points)][:1]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles)."""
        k, h = len(self.polygon), self.length / 2
        corners = np.concatenate([np.column_stack([self.polygon, np.full(k, z)]) for z in (h, -h)])
        top = flat.triangles(self.polygon)
        i, j = np.arange(k), np.roll(np.arange(k), -1)
        walls = [np.column_stack([i, i + k, j + k]), np.column_stack([i, j + k, j])]
        return corners, np.concatenate([top, top[:, ::-1] + k, *walls])


def _wrong(points: Array) -> list[str]:
    """Complaints about an outline."""
    if not np.isfinite(points).all():
        return ["must all be finite lengths"]
    if not 3 <= len(points) <= MOST_CORNERS:
        return [f"are {len(points)}; an outline has 3 to {MOST_CORNERS} corners"]
    size = float(np.ptp(points, axis=0).max())
    step = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    for k in np.flatnonzero(step <= 1e-9 * size).tolist():
        a, b = k + 1, (k + 1) % len(points) + 1
        return [f"{a} and {b} are one point; name each corner once, the outline closes by itself"]
    meeting = flat.crossing(points)
    if meeting is not None:
        a, b = meeting
        return [
            f"make an outline that crosses or touches itself: side {a + 1} (from point {a + 1})"
            f" meets side {b + 1}; give the corners in order round the outline"
        ]
    if abs(flat.moments(points)[0]) <= 1e-9 * size**2:
        return ["enclose no area; the corners must not lie on one line"]
    return []
