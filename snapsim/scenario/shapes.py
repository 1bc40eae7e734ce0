"""Shapes as the author writes them: `shape = { kind = "ring", outer_diameter = "110 mm", ... }`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self, get_args

import numpy as np
from pydantic import Field, StrictInt, model_validator

from snapsim.errors import InputError
from snapsim.numerics import rotations
from snapsim.parts import shapes as solids
from snapsim.scenario.fields import (
    Length,
    Point2,
    Position,
    Quaternion,
    Sizes,
    Table,
    TwoSizes,
    example,
)
from snapsim.scenario.mesh_file import says_its_unit, surface_in_metres
from snapsim.scenario.quantities import LENGTH, parse
from snapsim.scenario.rotation import Rotation, quaternion_of


class ShapeTable(Table):
    """What all shapes share: a kind with files, members or such overrides what it has of them.

    Each kind has `kind`, `solid()`, which returns the shape in SI, and an example.
    """

    def inlined(self, folder: Path, file: str, key: str) -> Self:
        """Return it with the files that it names read; raises InputError."""
        return self

    def resolved(self) -> Self:
        """Return it as a run file keeps it: without files, every turn one quaternion."""
        return self

    @classmethod
    def quantities(cls) -> list[str]:
        """Return its keys that take a quantity as text, in order: what a form asks for."""
        properties = cls.model_json_schema()["properties"]
        return [name for name, schema in properties.items() if "x-si-unit" in schema]


class BoxShape(ShapeTable):
    """A rectangular block."""

    model_config = example({"kind": "box", "size": "20 x 16 x 12 mm"})

    kind: Literal["box"]
    size: Sizes = Field(description="along body x, y and z")

    def solid(self) -> solids.Box:
        """Return the shape in SI."""
        return solids.Box(self.size)


class CylinderShape(ShapeTable):
    """A solid cylinder, disc or rod, its axis along body z."""

    model_config = example({"kind": "cylinder", "diameter": "20 mm", "length": "12 mm"})

    kind: Literal["cylinder"]
    diameter: Length = Field(description="across the axis")
    length: Length = Field(description="along the axis")

    def solid(self) -> solids.Cylinder:
        """Return the shape in SI."""
        return solids.Cylinder(self.diameter, self.length)


class RingShape(ShapeTable):
    """A ring, washer or tube, its axis along body z."""

    model_config = example(
        {
            "kind": "ring",
            "outer_diameter": "24 mm",
            "inner_diameter": "10 mm",
            "length": "10 mm",
        }
    )

    kind: Literal["ring"]
    outer_diameter: Length = Field(description="across the axis")
    inner_diameter: Length = Field(description="of the bore")
    length: Length = Field(description="along the axis")

    def solid(self) -> solids.Ring:
        """Return the shape in SI."""
        return solids.Ring(self.outer_diameter, self.inner_diameter, self.length)


class FrameShape(ShapeTable):
    """A rectangular frame: four bars of one cross-section round a window, body z through it."""

    model_config = example(
        {"kind": "frame", "window": "16 x 10 mm", "width": "5 mm", "length": "8 mm"}
    )

    kind: Literal["frame"]
    window: TwoSizes = Field(description="the opening, along body x and y")
    width: Length = Field(description="of the bars, across the opening's edge")
    length: Length = Field(description="of the bars along body z")

    def solid(self) -> solids.OpenFrame:
        """Return the shape in SI."""
        return solids.OpenFrame(self.window, self.width, self.length)


class SphereShape(ShapeTable):
    """A ball."""

    model_config = example({"kind": "sphere", "diameter": "20 mm"})

    kind: Literal["sphere"]
    diameter: Length = Field(description="of the ball")

    def solid(self) -> solids.Sphere:
        """Return the shape in SI."""
        return solids.Sphere(self.diameter)


class HexNutShape(ShapeTable):
    """A plain hexagonal nut, its bore along body z."""

    model_config = example(
        {"kind": "hex_nut", "across_flats": "24 mm", "bore": "13 mm", "length": "12 mm"}
    )

    kind: Literal["hex_nut"]
    across_flats: Length = Field(description="between opposite faces")
    bore: Length = Field(description="diameter of the hole, without thread")
    length: Length = Field(description="along the axis")

    def solid(self) -> solids.HexNut:
        """Return the shape in SI."""
        return solids.HexNut(self.across_flats, self.bore, self.length)


class PrismShape(ShapeTable):
    """An outline in the body x-y plane, drawn out along body z.

    The outline may stand anywhere in its own coordinates: the body's position is its centre of
    mass, above the outline's centroid.
    """

    model_config = example(
        {
            "kind": "prism",
            "points": ["0, 0 mm", "24, 0 mm", "8, 20 mm"],
            "length": "12 mm",
        }
    )

    kind: Literal["prism"]
    points: list[Point2] = Field(min_length=3, description="corners of the outline, in order")
    length: Length = Field(description="along body z")

    def solid(self) -> solids.Prism:
        """Return the shape in SI."""
        return solids.Prism(tuple(self.points), self.length)


class MeshShape(ShapeTable):
    """A closed surface from a file beside the scene, or written out in the scene itself.

    The surface may stand anywhere in its own coordinates: the body's position is its centre of
    mass, its axes are the file's.
    """

    model_config = example(
        {
            "kind": "mesh",
            "corners": ["0, 0, 0 mm", "24, 0, 0 mm", "0, 24, 0 mm", "0, 0, 24 mm"],
            "triangles": [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
        }
    )

    kind: Literal["mesh"]
    file: str | None = Field(
        None, min_length=1, description="STL, OBJ, PLY or STEP; path from the scene's folder"
    )
    unit: str | None = Field(
        None,
        description="the unit the file's numbers are in; a STEP file says its own",
        examples=["mm"],
    )
    corners: list[Position] | None = Field(None, description="in place of a file: the corners")
    triangles: list[tuple[StrictInt, StrictInt, StrictInt]] | None = Field(
        None, description="with corners: three corner numbers each, from 0, seen from outside"
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if self.file is None and self.corners is None:
            raise ValueError('needs a file, like file = "part.stl", unit = "mm"')
        own = self.file is not None and says_its_unit(self.file)
        if own and self.unit is not None:
            raise ValueError(
                f'has the unit "{self.unit}", but a STEP file says its own; leave it out'
            )
        if self.file is not None and self.unit is None and not own:
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
        if self.unit is None:
            return 1.0
        return parse(f"1 {self.unit}", LENGTH)[0]

    def inlined(self, folder: Path, file: str, key: str) -> Self:
        """Return it with its file read into `corners` and `triangles`."""
        if self.file is None:
            return self
        try:
            corners, triangles = surface_in_metres(folder, self.file, self.scale)
        except ValueError as error:
            raise InputError(str(error), file=file, key=f"{key}.file") from None
        return self.model_copy(update={"corners": corners, "triangles": triangles})

    def resolved(self) -> Self:
        """Return it with its surface written out in place of its file."""
        return self.model_copy(update={"file": None, "unit": None})

    def solid(self) -> solids.Mesh:
        """Return the shape in SI; its file must have been read into `corners`."""
        return solids.Mesh(
            np.array(self.corners, dtype=np.float64).reshape(-1, 3),
            np.array(self.triangles, dtype=np.int64).reshape(-1, 3),
        )


SimpleShape = (
    BoxShape
    | CylinderShape
    | RingShape
    | FrameShape
    | SphereShape
    | HexNutShape
    | PrismShape
    | MeshShape
)
"""The shapes that a compound may be joined from."""


class CompoundMember(Table):
    """One piece of a compound: where its own centre stands in the compound's frame, and how it is
    turned there."""

    shape: Annotated[SimpleShape, Field(discriminator="kind")] = Field(
        description="the piece, by its kind"
    )
    position: Position = Field(
        (0.0, 0.0, 0.0), description="of the piece's own centre, in the compound's frame"
    )
    rotation: Rotation = ()
    quaternion: Quaternion | None = Field(None, description="in place of rotation: w, x, y, z")

    @model_validator(mode="after")
    def _one_way_to_turn(self) -> Self:
        if self.rotation and self.quaternion is not None:
            raise ValueError("has both rotation and quaternion; give one of them")
        return self

    def with_shape(self, shape: SimpleShape) -> Self:
        """Return it with another shape."""
        return self.model_copy(update={"shape": shape})

    def resolved(self) -> Self:
        """Return it with its turn as one quaternion, its shape as a run file keeps it."""
        turn = {"rotation": (), "quaternion": quaternion_of(self.rotation, self.quaternion)}
        return self.with_shape(self.shape.resolved()).model_copy(update=turn)

    def piece(self) -> solids.Piece:
        """Return the member in its place, in SI."""
        turn = rotations.matrix(np.array(quaternion_of(self.rotation, self.quaternion)))
        return solids.Piece(self.shape.solid(), np.array(self.position), turn)


class CompoundShape(ShapeTable):
    """Several pieces rigidly joined, of one material.

    Members must touch and must not overlap. The body's position is the common centre of mass.
    """

    model_config = example(
        {
            "kind": "compound",
            "members": [
                {"shape": {"kind": "cylinder", "diameter": "10 mm", "length": "10 mm"}},
                {
                    "shape": {"kind": "box", "size": "20 x 16 x 8 mm"},
                    "position": "0, 0, 9 mm",
                },
            ],
        }
    )

    kind: Literal["compound"]
    members: list[CompoundMember] = Field(min_length=1, description="the pieces")

    def inlined(self, folder: Path, file: str, key: str) -> Self:
        """Return it with its members' files read."""
        members = [
            m.with_shape(m.shape.inlined(folder, file, f"{key}.members[{k}].shape"))
            for k, m in enumerate(self.members, start=1)
        ]
        return self.model_copy(update={"members": members})

    def resolved(self) -> Self:
        """Return it with its members as a run file keeps them."""
        return self.model_copy(update={"members": [m.resolved() for m in self.members]})

    def solid(self) -> solids.Compound:
        """Return the shape in SI."""
        return solids.Compound(tuple(m.piece() for m in self.members))


ShapeDescription = Annotated[SimpleShape | CompoundShape, Field(discriminator="kind")]

SHAPE_TABLES: dict[str, type[ShapeTable]] = {
    table.model_fields["kind"].annotation.__args__[0]: table
    for table in get_args(SimpleShape | CompoundShape)
}
"""Every kind of shape that a scene may name."""
