"""What every shape offers: its geometry, in body axes, origin at the centre of volume, metres."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, ClassVar, Protocol

import numpy as np

from snapsim.arrays import Array, IntArray

if TYPE_CHECKING:
    from snapsim.parts.shapes.pieces import Piece


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


class Revolution(Enum):
    """Which turns leave a shape as it is: none but a few, any about body z, any about its centre.

    `CENTRE` is a ball, which its first of `extents` is the radius of.
    """

    NONE = "none"
    AXIS = "axis"
    CENTRE = "centre"


class Shape(Protocol):
    """A solid. Members are frozen dataclasses of SI numbers; nothing in them changes.

    Members inherit from this class: what they leave out below the abstract ones is answered in
    general, so that a new shape works everywhere from the start, if not at its fastest.
    """

    kind: ClassVar[str]

    @property
    @abstractmethod
    def volume(self) -> float:
        """Volume [m^3]."""

    @property
    @abstractmethod
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) about the centre of volume, uniform density [m^2]."""

    @property
    @abstractmethod
    def extents(self) -> Array:
        """Half sizes (3,) [m] of a box along the body axes, about the origin, that holds it."""

    @property
    @abstractmethod
    def problems(self) -> list[tuple[str, str]]:
        """Pairs (field, what is wrong and what is allowed); empty for a sound shape."""

    @abstractmethod
    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return a closed triangulation: corners (n, 3) [m] and triangles (m, 3), outward.

        `fineness` is the number of straight pieces a full circle is drawn with.
        """

    @property
    def outline(self) -> Outline | None:
        """The extruded profile; None for a shape that is no extrusion of a convex one."""
        return None

    @property
    def pieces(self) -> tuple[Piece, ...] | None:
        """The simple solids that it is the union of; None where `pieces_of` is to find them."""
        return None

    @property
    def members(self) -> tuple[Piece, ...]:
        """The solids that it is joined from, in body axes; they must hold together."""
        return ()

    @property
    def drawn_centre(self) -> Array | None:
        """Where the origin of the body axes (3,) [m] is in the author's drawing, if there is one.

        None where the author gives sizes only.
        """
        return None

    @property
    def revolution(self) -> Revolution:
        """Which turns make no difference."""
        return Revolution.NONE

    @property
    def symmetries(self) -> Sequence[Array]:
        """Rotations and reflections (3, 3), body axes, that leave it as it is; the first is none.

        Of a body of revolution those that go with its axes; all further ones are turns about it.
        One that is left out is not wrong: like poses are then told apart.
        """
        return (np.eye(3),)

    @property
    def simplest(self) -> Shape:
        """The same solid under a simpler name, where it has one: a box that a prism is."""
        return self

    @property
    def remarks(self) -> list[str]:
        """What is allowed but may not be what the author meant: ends of sentences."""
        return []


def fills_its_box(shape: Shape) -> bool:
    """Return whether a shape is a block, whatever it is called: then its top is flat and level."""
    return bool(np.isclose(shape.volume, 8 * np.prod(shape.extents), rtol=1e-9))
