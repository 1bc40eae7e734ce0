"""A rectangular block, edges along the body axes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import extrusion, symmetry
from snapsim.parts.shapes.contract import Outline, Shape
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class Box(Shape):
    """Block of full sizes `size` = (x, y, z) [m]."""

    kind: ClassVar[str] = "box"
    size: tuple[float, float, float]

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return float(np.prod(self.size))

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]."""
        return extrusion.gyration(self.outline)

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m]."""
        return np.array(self.size) / 2

    @property
    def outline(self) -> Outline:
        """The rectangle that is extruded."""
        x, y, z = (s / 2 for s in self.size)
        return Outline(z, 0.0, np.array([[x, y], [-x, y], [-x, -y], [x, -y]]), 0.0)

    @property
    def symmetries(self) -> list[Array]:
        """Those that keep its extents."""
        return symmetry.of_extents(self.extents)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        return [("size", p) for s in self.size for p in not_positive(s)][:1]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles)."""
        return extrusion.surface(self.outline, fineness)
