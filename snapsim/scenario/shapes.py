"""Shapes as the author writes them: `shape = { kind = "ring", outer_diameter = "110 mm", ... }`."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from snapsim.parts import shapes as solids
from snapsim.scenario.fields import Length, Point2, Position, Quaternion, Sizes, Table
from snapsim.scenario.rotation import Rotation


class BoxShape(Table):
    """A rectangular block."""

    kind: Literal["box"]
    size: Sizes

    def solid(self) -> solids.Box:
        """Return the shape in SI."""
        return solids.Box(self.size)


class CylinderShape(Table):
    """A solid cylinder, disc or rod, its axis along body z."""

    kind: Literal["cylinder"]
    diameter: Length
    length: Length

    def solid(self) -> solids.Cylinder:
        """Return the shape in SI."""
        return solids.Cylinder(self.diameter, self.length)


class RingShape(Table):
    """A ring, washer or tube, its axis along body z."""

    kind: Literal["ring"]
    outer_diameter: Length
    inner_diameter: Length
    length: Length

    def solid(self) -> solids.Ring:
        """Return the shape in SI."""
        return solids.Ring(self.outer_diameter, self.inner_diameter, self.length)


class SphereShape(Table):
    """A ball."""

    kind: Literal["sphere"]
    diameter: Length

    def solid(self) -> solids.Sphere:
        """Return the shape in SI."""
        return solids.Sphere(self.diameter)


class HexNutShape(Table):
    """A plain hexagonal nut, its bore along body z."""

    kind: Literal["hex_nut"]
    across_flats: Length
    bore: Length
    length: Length

    def solid(self) -> solids.HexNut:
        """Return the shape in SI."""
        return solids.HexNut(self.across_flats, self.bore, self.length)


class PrismShape(Table):
    """An outline in the body x-y plane, drawn out along body z."""

    kind: Literal["prism"]
    points: list[Point2] = Field(min_length=3, description="corners of the outline, in order")
    length: Length


class MeshShape(Table):
    """A closed surface from a file beside the scene."""

    kind: Literal["mesh"]
    file: str = Field(min_length=1, description="STL, OBJ or PLY, beside the scene")
    unit: str = Field(description="the unit the file's numbers are in", examples=["mm"])


class CompoundMember(Table):
    """One piece of a compound, placed in the compound's own frame."""

    shape: Annotated[
        BoxShape | CylinderShape | RingShape | SphereShape | HexNutShape | PrismShape | MeshShape,
        Field(discriminator="kind"),
    ]
    position: Position = (0.0, 0.0, 0.0)
    rotation: Rotation = ()
    quaternion: Quaternion | None = None


class CompoundShape(Table):
    """Several pieces rigidly joined."""

    kind: Literal["compound"]
    members: list[CompoundMember] = Field(min_length=1)


ShapeDescription = Annotated[
    BoxShape
    | CylinderShape
    | RingShape
    | SphereShape
    | HexNutShape
    | PrismShape
    | MeshShape
    | CompoundShape,
    Field(discriminator="kind"),
]
