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
    """A solid. Instances are frozen dataclasses of SI numbers; nothing in them changes.

    A shape that is neither a ball nor an extrusion of an `Outline` also has `pieces`, the simple
    solids that it is the union of (see `pieces`). One that its author draws in coordinates of their
    own also has `drawn_centre` (3,) [m]: where the origin of the body axes is in the drawing.
    """

    kind: ClassVar[str]

    @property
    def volume(self) -> float:
        """Volume [m^3]."""

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) about the centre of volume, uniform density [m^2]."""

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of a box along the body axes, about the origin, that holds it."""

    @property
    def outline(self) -> Outline | None:
        """The extruded profile; None for a shape that is no extrusion of a convex one."""

    @property
    def problems(self) -> list[tuple[str, str]]:
        """Pairs (field, what is wrong and what is allowed); empty for a sound shape."""

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return a closed triangulation: corners (n, 3) [m] and triangles (m, 3), outward.

        `fineness` is the number of straight pieces a full circle is drawn with.
        """
