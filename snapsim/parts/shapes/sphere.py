"""A solid ball."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import symmetry
from snapsim.parts.shapes.contract import Revolution, Shape
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class Sphere(Shape):
    """Ball of `diameter` [m]."""

    kind: ClassVar[str] = "sphere"
    diameter: float

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return float(np.pi * self.diameter**3 / 6)

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3), 2/5 r^2 [m^2]."""
        return np.eye(3) * self.diameter**2 / 10

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m]."""
        return np.full(3, self.diameter / 2)

    @property
    def revolution(self) -> Revolution:
        """Any turn about its centre."""
        return Revolution.CENTRE

    @property
    def symmetries(self) -> list[Array]:
        """Those that keep its extents."""
        return symmetry.of_extents(self.extents)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        return [("diameter", p) for p in not_positive(self.diameter)]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return corners (n, 3) on meridians and parallels, and outward triangles (m, 3)."""
        across, down = fineness, max(4, fineness // 2)
        polar = np.pi * np.arange(1, down) / down
        turn = 2 * np.pi * np.arange(across) / across
        ring = np.stack(
            [
                np.outer(np.sin(polar), np.cos(turn)),
                np.outer(np.sin(polar), np.sin(turn)),
                np.outer(np.cos(polar), np.ones(across)),
            ],
            axis=-1,
        ).reshape(-1, 3)
        corners = np.concatenate([ring, [[0, 0, 1], [0, 0, -1]]]) * self.diameter / 2
        i = np.arange(across)
        j = (i + 1) % across
        north, south = len(ring), len(ring) + 1
        last = (down - 2) * across
        parts = [
            np.column_stack([np.full(across, north), i, j]),
            np.column_stack([np.full(across, south), last + j, last + i]),
        ]
        for row in range(down - 2):
            a, b = row * across, (row + 1) * across
            parts.append(np.column_stack([a + i, b + i, b + j]))
            parts.append(np.column_stack([a + i, b + j, a + j]))
        return corners, np.concatenate(parts).astype(np.int64)
