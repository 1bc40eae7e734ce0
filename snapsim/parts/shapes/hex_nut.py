"""A plain hexagonal nut: hexagonal prism with a round bore along body z, no chamfer, no thread."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import extrusion, symmetry
from snapsim.parts.shapes.contract import Outline, Shape
from snapsim.parts.shapes.validity import not_positive


@dataclass(frozen=True)
class HexNut(Shape):
    """Nut of width `across_flats`, `bore` diameter and `length` [m]; corners on the body x axis."""

    kind: ClassVar[str] = "hex_nut"
    across_flats: float
    bore: float
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
        across_corners = 2 * self.across_flats / np.sqrt(3)
        return np.array([across_corners, self.across_flats, self.length]) / 2

    @property
    def outline(self) -> Outline:
        """The hexagon with its bore."""
        angle = np.pi / 3 * np.arange(6)
        polygon = self.across_flats / np.sqrt(3) * np.column_stack([np.cos(angle), np.sin(angle)])
        return Outline(self.length / 2, 0.0, polygon, self.bore / 2)

    @property
    def symmetries(self) -> list[Array]:
        """Those of the hexagon, and up for down."""
        return symmetry.of_right_prism(self.outline.polygon)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the numbers; empty when sound."""
        fields = (
            ("across_flats", self.across_flats),
            ("bore", self.bore),
            ("length", self.length),
        )
        found = [(name, p) for name, value in fields for p in not_positive(value)]
        if not found and self.bore >= self.across_flats:
            found.append(("bore", "must be smaller than across_flats"))
        return found

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the closed triangulation (corners, triangles)."""
        return extrusion.surface(self.outline, fineness)
