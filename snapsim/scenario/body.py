"""A body as the author writes it: shape, material, pose, motion at release."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from snapsim.scenario.fields import (
    Current,
    Direction,
    Duration,
    Flag,
    Length,
    Name,
    Number,
    Position,
    Quaternion,
    Spin,
    Table,
    Velocity,
    positive,
)
from snapsim.scenario.rotation import Rotation
from snapsim.scenario.shapes import ShapeDescription

MOST_TURNS = 1e6


def _some_turns(value: float) -> float:
    if not 0 < value <= MOST_TURNS:
        raise ValueError(f"is {value:g}; above 0 and up to {MOST_TURNS:g} are allowed")
    return value


class BodyDescription(Table):
    """One [[body]]."""

    name: Name = Field(description="by which other keys and results call it")
    shape: ShapeDescription = Field(description="what it is, by its kind")
    material: Name = Field(description="a built-in material or a [[material]] of this scene")
    magnetised: Direction | None = Field(
        None, description="direction of a magnet's magnetisation, in body axes"
    )
    turns: Annotated[Number, AfterValidator(_some_turns)] | None = Field(
        None,
        description="makes a ring or a frame a coil: turns of wire round body z, spread evenly",
    )
    current: Current | None = Field(
        None,
        description="of a coil, right-handed round body z: one, or rows of time since release and"
        " current, straight lines between them, two rows of one time a jump",
    )
    switch_off: Duration | None = Field(
        None, description="time since release at which a coil's current ends at once"
    )
    position: Position = Field(description="the centre of mass, in world axes")
    rotation: Rotation = ()
    quaternion: Quaternion | None = Field(None, description="in place of rotation: w, x, y, z")
    velocity: Velocity = Field((0.0, 0.0, 0.0), description="at release, world axes")
    spin: Spin = Field((0.0, 0.0, 0.0), description="turning at release, about world axes")
    fixed: Flag = Field(False, description="it never moves; else it is free")
    edge_radius: Annotated[Length, AfterValidator(positive)] | None = Field(
        None, description="rounding of its edges, for the peak force of blows; else 0.2 to 1 mm"
    )

    @model_validator(mode="after")
    def _one_way_to_turn(self) -> Self:
        if self.rotation and self.quaternion is not None:
            raise ValueError("has both rotation and quaternion; give one of them")
        if self.fixed and (any(self.velocity) or any(self.spin)):
            raise ValueError("is fixed and has a velocity or a spin; drop one of them")
        if (self.turns is None) != (self.current is None):
            given, due = ("turns", "current") if self.current is None else ("current", "turns")
            raise ValueError(f"has {given} and no {due}; a coil needs both")
        if self.switch_off is not None and self.turns is None:
            raise ValueError("has a switch_off and is no coil; give turns and current, or drop it")
        return self
