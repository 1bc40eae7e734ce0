"""Shapes as the author writes them: `shape = { kind = "ring", outer_diameter = "110 mm", ... }`."""

from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, StrictInt, model_validator

from snapsim.numerics import rotations
from snapsim.parts import shapes as solids
from snapsim.scenario.fields import Length, Point2, Position, Quaternion, Sizes, Table
from snapsim.scenario.quantities import LENGTH, parse
from snapsim.scenario.rotation import Rotation, quaternion_of


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
    """An outline in the body x-y plane, drawn out along body z.

    The outline may stand anywhere in its own coordinates: the body's position is its centre of
    mass, above the outline's centroid.
    """

    kind: Literal["prism"]
    points: list[Point2] = Field(min_length=3, description="corners of the outline, in order")
    length: Length

    def solid(self) -> solids.Prism:
        """Return the shape in SI."""
        return solids.Prism(tuple(self.points), self.length)


class MeshShape(Table):
    """A closed surface from a file beside the scene, or written out in the scene itself.

    The surface may stand anywhere in its own coordinates: the body's position is its centre of
    mass, its axes are the file's.
    """

    kind: Literal["mesh"]
    file: str | None = Field(None, min_length=1, description="STL, OBJ or PLY, beside the scene")
    unit: str | None = Field(
        None, description="the unit the file's numbers are in", examples=["mm"]
    )
    corners: list[Position] | None = Field(None, description="in place of a file: the corners")
    triangles: list[tuple[StrictInt, StrictInt, StrictInt]] | None = Field(
        None, description="with corners: three corner numbers each, from 0, seen from outside"
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if self.file is None and self.corners is None:
            raise ValueError('needs a file, like file = "part.stl", unit = "mm"')
        if self.file is not None and self.unit is None:
            raise ValueError('needs the unit of its file\'s numbers, like unit = "mm"')
        if self.corners is None:
            if self.triangles is not None:
                raise ValueError("has triangles without corners; give both, or a file")
            self._check_unit()
            return self
        if self.triangles is None:
            raise ValueError("has corners without triangles; give both, or a file")
        if any(not 0 <= k < len(self.corners) for t in self.triangles for k in t):
            raise ValueError(
                f"has triangles of corners that are not there; 0 to {len(self.corners) - 1} are"
            )
        return self

    def _check_unit(self) -> None:
        if self.unit is not None:
            try:
                parse(f"1 {self.unit}", LENGTH)
            except ValueError:
                raise ValueError(
                    f'"{self.unit}" is no unit of length; like "mm" or "inch"'
                ) from None

    @property
    def scale(self) -> float:
        """Metres a unit of the file."""
        return parse(f"1 {self.unit}", LENGTH)[0]

    def solid(self) -> solids.Mesh:
        """Return the shape in SI; its file must have been read into `corners`."""
        return solids.Mesh(
            np.array(self.corners, dtype=np.float64).reshape(-1, 3),
            np.array(self.triangles, dtype=np.int64).reshape(-1, 3),
        )


class CompoundMember(Table):
    """One piece of a compound: where its own centre stands in the compound's frame, and how it is
    turned there."""

    shape: Annotated[
        BoxShape | CylinderShape | RingShape | SphereShape | HexNutShape | PrismShape | MeshShape,
        Field(discriminator="kind"),
    ]
    position: Position = (0.0, 0.0, 0.0)
    rotation: Rotation = ()
    quaternion: Quaternion | None = None

    @model_validator(mode="after")
    def _one_way_to_turn(self) -> Self:
        if self.rotation and self.quaternion is not None:
            raise ValueError("has both rotation and quaternion; give one of them")
        return self

    def piece(self) -> solids.Piece:
        """Return the member in its place, in SI."""
        turn = rotations.matrix(np.array(quaternion_of(self.rotation, self.quaternion)))
        return solids.Piece(self.shape.solid(), np.array(self.position), turn)


class CompoundShape(Table):
    """Several pieces rigidly joined, of one material.

    Members must touch and must not overlap. The body's position is the common centre of mass.
    """

    kind: Literal["compound"]
    members: list[CompoundMember] = Field(min_length=1)

    def solid(self) -> solids.Compound:
        """Return the shape in SI."""
        return solids.Compound(tuple(m.piece() for m in self.members))


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
