"""What every shape offers: its geometry, in body axes, origin at the centre of volume, metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Protocol

from snapsim.arrays import Array, IntArray


@dataclass(frozen=True)
class Outline:
    """A flat profile in the body x-y plane, extruded along body z from -h to +h.

    `radius` is the radius of a round profile [m] and `polygon` is empty; otherwise `polygon`
    (k, 2) holds the corners [m], counter-clockwise and convex. `bore_radius` [m] is a round hole
    through the profile's centre, 0 for none; `half_length` is h [m].
    """

    half_length: float
    radius: float
    polygon: Array
    bore_radius: float


class Shape(Protocol):
    """A solid. Instances are frozen dataclasses of SI numbers; nothing in them changes."""

    kind: ClassVar[str]

    @property
    def volume(self) -> float:
        """Volume [m^3]."""

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) about the centre of volume, uniform density [m^2]."""

    @property
    def extents(self) -> Array:
        """Half sizes (3,) of the body-axis bounding box [m]."""

    @property
    def outline(self) -> Outline | None:
        """The extruded profile, or None for a shape that is not an extrusion (sphere)."""

    @property
    def problems(self) -> list[tuple[str, str]]:
        """Pairs (field, what is wrong and what is allowed); empty for a sound shape."""

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return a closed triangulation: corners (n, 3) [m] and triangles (m, 3), outward.

        `fineness` is the number of straight pieces a full circle is drawn with.
        """
