"""Joints as the author writes them: string, hinge, slide, hold."""

from __future__ import annotations

import itertools
import math
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

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
    positive,
)
from snapsim.scenario.rotation import Rotation

WORLD = "world"
"""The name a joint uses for the unmoving surroundings."""


class _Joint(Table):
    """What all joints share: two bodies, or one and "world", and a point on each."""

    name: Name | None = Field(None, description='default: the kind and its ends, "string: a - b"')
    between: tuple[Name, Name] = Field(description='two body names, or one and "world"')
    at: tuple[Position, Position] = Field(description="a point on each, in each one's own frame")


class StringJoint(_Joint):
    """A string: it pulls when taut and never pushes."""

    kind: Literal["string"]
    length: Annotated[Length, AfterValidator(positive)]
    restitution: Number = Field(0.0, ge=0, le=1, description="0 inelastic snap, 1 elastic")
    breaking_load: Force | None = None


class HingeJoint(_Joint):
    """A hinge about an axis of the first body."""

    kind: Literal["hinge"]
    axis: Direction
    stops: tuple[Angle, Angle] | None = Field(
        None, description="lowest and highest angle of the first body, from its pose in the scene"
    )
    friction_torque: Torque | None = None
    restitution: Number = Field(0.0, ge=0, le=1, description="of the stops")

    @model_validator(mode="after")
    def _stops_hold_the_start(self) -> Self:
        if self.stops is not None and not (
            -math.pi < self.stops[0] <= 0 <= self.stops[1] < math.pi
        ):
            raise ValueError(
                "has stops that do not hold its start, 0 deg; give the lower one first,"
                ' both within 180 deg, like ["-30 deg", "90 deg"]'
            )
        return self


class SlideJoint(_Joint):
    """A rail along an axis of the first body."""

    kind: Literal["slide"]
    axis: Direction
    stops: tuple[Length, Length] | None = Field(
        None, description="least and greatest way of the first body's point ahead of the second's"
    )
    friction: Number = Field(0.0, ge=0)
    restitution: Number = Field(0.0, ge=0, le=1, description="of the stops")

    @model_validator(mode="after")
    def _stops_in_order(self) -> Self:
        if self.stops is not None and self.stops[0] >= self.stops[1]:
            raise ValueError(
                'has stops out of order; give the lower one first, like ["0 mm", "80 mm"]'
            )
        return self


class Waypoint(Table):
    """Where a hold has carried its part at a time: the part's pose in the other body's frame.

    From each waypoint to the next it goes straight, starting and stopping smoothly.
    """

    time: Time = Field(description="after 0; the path starts at the part's pose in the scene")
    position: Position = Field(description="of the part's centre of mass")
    rotation: Rotation = ()
    quaternion: Quaternion | None = None


class HoldJoint(_Joint):
    """A hand or a handle: carries the first body, and lets go at a time or past its limits."""

    kind: Literal["hold"]
    until: Duration | None = None
    force_limit: Force | None = None
    torque_limit: Torque | None = None
    path: tuple[Waypoint, ...] = ()

    @model_validator(mode="after")
    def _times_rise(self) -> Self:
        times = [0.0, *(w.time for w in self.path)]
        if any(b <= a for a, b in itertools.pairwise(times)):
            raise ValueError("has a path whose times do not rise; give them in order, all after 0")
        return self


JointDescription = Annotated[
    StringJoint | HingeJoint | SlideJoint | HoldJoint, Field(discriminator="kind")
]
