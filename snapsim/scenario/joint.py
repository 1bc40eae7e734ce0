"""Joints as the author writes them, and the joints that they become."""

from __future__ import annotations

import itertools
import math
from typing import Annotated, Literal, Self, get_args

import numpy as np
from pydantic import AfterValidator, ConfigDict, Field, model_validator

from snapsim.arrays import Array
from snapsim.mechanics import joints
from snapsim.numerics import rotations
from snapsim.scenario.fastening import FIT, Fastening
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
    example,
    positive,
)
from snapsim.scenario.rotation import Rotation, quaternion_of

WORLD = "world"
"""The name a joint uses for the unmoving surroundings."""


class JointTable(Table):
    """What all joints share: two bodies, or one and "world", and a point on each.

    Each kind has `kind` and `joint(fastening)`, which returns the joint or raises InputError.
    """

    name: Name | None = Field(None, description='default: the kind and its ends, "string: a - b"')
    between: tuple[Name, Name] = Field(description='two body names, or one and "world"')
    at: tuple[Position, Position] = Field(description="a point on each, in each one's own frame")


def _example(kind: str, **more: object) -> ConfigDict:
    """A joint of the part to the surroundings, 20 mm above its centre."""
    at = ["0, 0, 20 mm", "0, 0, 0 mm"]
    return example({"kind": kind, "between": ["part", WORLD], "at": at, **more})


class StringJoint(JointTable):
    """A string: it pulls when taut and never pushes."""

    model_config = _example("string", length="30 mm")

    kind: Literal["string"]
    length: Annotated[Length, AfterValidator(positive)] = Field(
        description="between its ends, taut"
    )
    restitution: Number = Field(0.0, ge=0, le=1, description="0 inelastic snap, 1 elastic")
    breaking_load: Force | None = Field(None, description="tension at which it parts")

    def joint(self, at: Fastening) -> joints.String:
        """Return the string, long enough for its ends."""
        distance = float(np.linalg.norm(at.apart))
        if distance > self.length + FIT:
            at.refuse(
                f"is {1e3 * self.length:.6g} mm, but its ends start {1e3 * distance:.6g} mm apart;"
                " give at least that, or move a body",
                "length",
            )
        return joints.String(
            at.name,
            at.ends,
            at.points,
            force_limit=np.inf if self.breaking_load is None else self.breaking_load,
            restitution=self.restitution,
            length=self.length,
        )


class HingeJoint(JointTable):
    """A hinge about an axis of the first body."""

    model_config = _example("hinge", axis="y")

    kind: Literal["hinge"]
    axis: Direction = Field(description="in the first body's axes")
    stops: tuple[Angle, Angle] | None = Field(
        None, description="lowest and highest angle of the first body, from its pose in the scene"
    )
    friction_torque: Torque | None = Field(None, description="what it takes to turn it")
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

    def joint(self, at: Fastening) -> joints.Hinge:
        """Return the hinge, its two points in one place."""
        at.must_meet("hinge")
        return joints.hinge(
            at.name,
            at.ends,
            at.points,
            np.array(self.axis),
            *at.sides,
            stops=self.stops,
            friction_torque=self.friction_torque or 0.0,
            restitution=self.restitution,
        )


class SlideJoint(JointTable):
    """A rail along an axis of the first body."""

    model_config = _example("slide", axis="z", stops=["-40 mm", "40 mm"])

    kind: Literal["slide"]
    axis: Direction = Field(description="in the first body's axes")
    stops: tuple[Length, Length] | None = Field(
        None, description="least and greatest way of the first body's point ahead of the second's"
    )
    friction: Number = Field(0.0, ge=0, description="Coulomb coefficient of the rail")
    restitution: Number = Field(0.0, ge=0, le=1, description="of the stops")

    @model_validator(mode="after")
    def _stops_in_order(self) -> Self:
        if self.stops is not None and self.stops[0] >= self.stops[1]:
            raise ValueError(
                'has stops out of order; give the lower one first, like ["0 mm", "80 mm"]'
            )
        return self

    def joint(self, at: Fastening) -> joints.Slide:
        """Return the rail, its points one along the axis from the other, between its stops."""
        axis = np.array(self.axis)
        along = at.sides[0].turn @ axis
        way = float(along @ at.apart)
        at.must_meet("slide, seen along its axis,", at.apart - way * along)
        if self.stops is not None and not self.stops[0] - FIT <= way <= self.stops[1] + FIT:
            at.refuse(f"do not hold its start at {1e3 * way:.4g} mm along the axis", "stops")
        return joints.slide(
            at.name,
            at.ends,
            at.points,
            axis,
            *at.sides,
            stops=self.stops,
            friction=self.friction,
            restitution=self.restitution,
        )


class BallJoint(JointTable):
    """A ball in its socket: the two points stay together, the bodies turn about them freely."""

    model_config = _example("ball")

    kind: Literal["ball"]

    def joint(self, at: Fastening) -> joints.Ball:
        """Return the ball joint, its two points in one place."""
        at.must_meet("ball joint")
        return joints.Ball(at.name, at.ends, at.points)


class Waypoint(Table):
    """Where a hold has carried its part at a time: the part's pose in the other body's frame.

    From each waypoint to the next it goes straight, starting and stopping smoothly.
    """

    time: Time = Field(description="after 0; the path starts at the part's pose in the scene")
    position: Position = Field(description="of the part's centre of mass")
    rotation: Rotation = ()
    quaternion: Quaternion | None = Field(None, description="in place of rotation: w, x, y, z")


class HoldJoint(JointTable):
    """A hand or a handle: carries the first body, and lets go at a time or past its limits."""

    model_config = _example("hold", until="5 ms", force_limit="30 N")

    kind: Literal["hold"]
    until: Duration | None = Field(None, description="when it lets go")
    force_limit: Force | None = Field(None, description="past which it loses the part")
    torque_limit: Torque | None = Field(None, description="past which it loses the part")
    path: tuple[Waypoint, ...] = Field((), description="where it carries the part, in order")

    @model_validator(mode="after")
    def _times_rise(self) -> Self:
        times = [0.0, *(w.time for w in self.path)]
        if any(b <= a for a, b in itertools.pairwise(times)):
            raise ValueError("has a path whose times do not rise; give them in order, all after 0")
        return self

    def joint(self, at: Fastening) -> joints.Hold:
        """Return the hold of the first body, which must be free, where its points meet."""
        if at.still[0]:
            at.refuse(
                "names the held part second; name the free part first, then what holds it",
                "between",
            )
        at.must_meet("hold")
        return joints.hold(
            at.name,
            at.ends,
            at.points,
            *at.sides,
            path=self._legs(*at.sides),
            until=np.inf if self.until is None else self.until,
            force_limit=np.inf if self.force_limit is None else self.force_limit,
            torque_limit=np.inf if self.torque_limit is None else self.torque_limit,
        )

    def _legs(self, a: joints.Side, b: joints.Side) -> tuple[tuple[float, Array, Array], ...]:
        """Times, positions and turns of the path; a waypoint without a turn keeps the last one."""
        turn = rotations.multiply(rotations.conjugate(b.quaternion), a.quaternion)
        legs = []
        for leg in self.path:
            if leg.rotation or leg.quaternion is not None:
                turn = np.array(quaternion_of(leg.rotation, leg.quaternion))
            legs.append((leg.time, np.array(leg.position), turn))
        return tuple(legs)


AnyJoint = StringJoint | HingeJoint | SlideJoint | BallJoint | HoldJoint

JOINT_TABLES: dict[str, type[JointTable]] = {
    table.model_fields["kind"].annotation.__args__[0]: table for table in get_args(AnyJoint)
}
"""Every kind of joint that a scene may name."""

JointDescription = Annotated[AnyJoint, Field(discriminator="kind")]
