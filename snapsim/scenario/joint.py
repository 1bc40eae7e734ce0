"""Joints as the author writes them: string, hinge, slide, hold."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from snapsim.scenario.fields import (
    Angle,
    Direction,
    Duration,
    Force,
    Length,
    Name,
    Number,
    Position,
    Quaternion,
    Table,
    Time,
    Torque,
)
from snapsim.scenario.rotation import Rotation

WORLD = "world"
"""The name a joint uses for the unmoving surroundings."""


class _Joint(Table):
    """What all joints share: two bodies, or one and "world", and a point on each."""

    name: Name | None = Field(None, description='default: the kind and a number, "string 1"')
    between: tuple[Name, Name] = Field(description='two body names, or one and "world"')
    at: tuple[Position, Position] = Field(description="a point on each, in each one's own frame")


class StringJoint(_Joint):
    """A string: it pulls when taut and never pushes."""

    kind: Literal["string"]
    length: Length
    restitution: Number = Field(0.0, ge=0, le=1, description="0 inelastic snap, 1 elastic")
    breaking_load: Force | None = None


class HingeJoint(_Joint):
    """A hinge about an axis of the first body."""

    kind: Literal["hinge"]
    axis: Direction
    stops: tuple[Angle, Angle] | None = None
    friction_torque: Torque | None = None


class SlideJoint(_Joint):
    """A rail along an axis of the first body."""

    kind: Literal["slide"]
    axis: Direction
    stops: tuple[Length, Length] | None = None
    friction: Number = Field(0.0, ge=0)


class Waypoint(Table):
    """Where a hold has carried its part at a time."""

    time: Time
    position: Position
    rotation: Rotation = ()
    quaternion: Quaternion | None = None


class HoldJoint(_Joint):
    """A hand or a handle: carries the part, and lets go at a time or past its limits."""

    kind: Literal["hold"]
    until: Duration | None = None
    force_limit: Force | None = None
    torque_limit: Torque | None = None
    path: tuple[Waypoint, ...] = ()


JointDescription = Annotated[
    StringJoint | HingeJoint | SlideJoint | HoldJoint, Field(discriminator="kind")
]
