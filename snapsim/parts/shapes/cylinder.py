"""A solid right circular cylinder (disc, rod), axis along body z."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import extrusion, symmetry
from snapsim.parts.shapes.contract import Outline, Revolution, Shape
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class Cylinder(Shape):
    """Cylinder of `diameter` and `length` [m]."""

    kind: ClassVar[str] = "cylinder"
    diameter: float
    length: float

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return extrusion.volume(self.outline)

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]."""
        return extrusion.gyration(self.outline)

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m]."""
        return np.array([self.diameter, self.diameter, self.length]) / 2

    @property
    def outline(self) -> Outline:
        """The disc that is extruded."""
        return Outline(self.length / 2, self.diameter / 2, np.empty((0, 2)), 0.0)

    @property
    def revolution(self) -> Revolution:
        """Any turn about its axis."""
        return Revolution.AXIS

    @property
    def symmetries(self) -> list[Array]:
        """Those that keep its axis, or turn it over."""
        return symmetry.of_upright()

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        fields = (("diameter", self.diameter), ("length", self.length))
        return [(name, p) for name, value in fields for p in not_positive(value)]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles)."""
        return extrusion.surface(self.outline, fineness)
