"""A ring: a right circular cylinder with a coaxial bore (washer, tube, gear blank), axis body z."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import extrusion, symmetry
from snapsim.parts.shapes.contract import Outline, Revolution, Shape
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class Ring(Shape):
    """Ring of `outer_diameter`, `inner_diameter` and `length` [m]."""

    kind: ClassVar[str] = "ring"
    outer_diameter: float
    inner_diameter: float
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
        return np.array([self.outer_diameter, self.outer_diameter, self.length]) / 2

    @property
    def outline(self) -> Outline:
        """The annulus that is extruded."""
        return Outline(
            self.length / 2, self.outer_diameter / 2, np.empty((0, 2)), self.inner_diameter / 2
        )

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
        fields = (
            ("outer_diameter", self.outer_diameter),
            ("inner_diameter", self.inner_diameter),
            ("length", self.length),
        )
        found = [(name, p) for name, value in fields for p in not_positive(value)]
        if not found and self.inner_diameter >= self.outer_diameter:
            found.append(("inner_diameter", "must be smaller than outer_diameter"))
        return found

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles)."""
        return extrusion.surface(self.outline, fineness)
