"""A body as the author writes it: shape, material, pose, motion at release."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from snapsim.scenario.fields import (
    Direction,
    Flag,
    Length,
    Name,
    Position,
    Quaternion,
    Spin,
    Table,
    Velocity,
    positive,
)
from snapsim.scenario.rotation import Rotation
from snapsim.scenario.shapes import ShapeDescription


class BodyDescription(Table):
    """One [[body]]."""

    name: Name
    shape: ShapeDescription
    material: Name = Field(description="a built-in material or a [[material]] of this scene")
    magnetised: Direction | None = Field(
        None, description="direction of a magnet's magnetisation, in body axes"
    )
    position: Position = Field(description="the centre of mass, in world axes")
    rotation: Rotation = ()
    quaternion: Quaternion | None = None
    velocity: Velocity = (0.0, 0.0, 0.0)
    spin: Spin = (0.0, 0.0, 0.0)
    fixed: Flag = False
    edge_radius: Annotated[Length, AfterValidator(positive)] | None = Field(
        None, description="rounding of its edges, for the peak force of blows; else 0.2 to 1 mm"
    )

    @model_validator(mode="after")
    def _one_way_to_turn(self) -> Self:
        if self.rotation and self.quaternion is not None:
            raise ValueError("has both rotation and quaternion; give one of them")
        if self.fixed and (any(self.velocity) or any(self.spin)):
            raise ValueError("is fixed and has a velocity or a spin; drop one of them")
        return self
