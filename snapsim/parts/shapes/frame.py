"""A rectangular frame: four bars of one width round a window, body z through the window."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import symmetry
from snapsim.parts.shapes.box import Box
from snapsim.parts.shapes.contract import Shape
from snapsim.parts.shapes.pieces import Piece
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class OpenFrame(Shape):
    """Frame round a `window` (along x, along y) [m], its bars `width` [m] wide and `length` [m]
    along z; corners are square."""

    kind: ClassVar[str] = "frame"
    window: tuple[float, float]
    width: float
    length: float

    @property
    def outer(self) -> tuple[float, float]:
        """Outer sizes along x and y [m]."""
        return self.window[0] + 2 * self.width, self.window[1] + 2 * self.width

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        (a, b), (x, y) = self.window, self.outer
        return (x * y - a * b) * self.length

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]: the whole block's less the window's."""
        (a, b), (x, y) = self.window, self.outer
        whole, hole, z = x * y, a * b, self.length
        squares = np.array([whole * x * x - hole * a * a, whole * y * y - hole * b * b, 0.0])
        squares[2] = (whole - hole) * z * z
        squares /= 12 * (whole - hole)
        return np.diag(squares.sum() - squares)

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m]."""
        return np.array([*self.outer, self.length]) / 2

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Its bars: two along all of x, two between them."""
        (a, b), (x, _), w, z = self.window, self.outer, self.width, self.length
        along, across = Box((x, w, z)), Box((w, b, z))
        return (
            Piece(along, np.array([0.0, (b + w) / 2, 0.0])),
            Piece(along, np.array([0.0, -(b + w) / 2, 0.0])),
            Piece(across, np.array([(a + w) / 2, 0.0, 0.0])),
            Piece(across, np.array([-(a + w) / 2, 0.0, 0.0])),
        )

    @property
    def symmetries(self) -> list[Array]:
        """Those of a block of its sizes; a square one's quarter turns too."""
        x, y = self.outer
        same = abs(x - y) <= symmetry.SAME * max(x, y)
        return [s for s in symmetry.signed_axes() if abs(s[2, 2]) == 1 and (same or s[0, 0] != 0)]

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        fields = (("width", self.width), ("length", self.length))
        found = [("window", p) for value in self.window for p in not_positive(value)][:1]
        return found + [(name, p) for name, value in fields for p in not_positive(value)]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles); `fineness` changes nothing."""
        signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) / 2
        flat = np.concatenate([signs * self.outer, signs * self.window])  # 0-3 outside, 4-7 inside
        half = np.full((8, 1), self.length / 2)
        corners = np.concatenate([np.hstack([flat, -half]), np.hstack([flat, half])])
        loops = []
        for k in range(4):
            n = (k + 1) % 4
            loops += [
                (k, n, n + 8, k + 8),  # outer side
                (n + 4, k + 4, k + 12, n + 12),  # inner side
                (k + 8, n + 8, n + 12, k + 12),  # top
                (n, k, k + 4, n + 4),  # bottom
            ]
        return corners, np.array([t for a, b, c, d in loops for t in ((a, b, c), (a, c, d))])
