"""Where a finger or a hand could be, so that a closing gap there is reported."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from snapsim.scenario.fields import Gap, Name, Position, Table


class HandDescription(Table):
    """One [[hand]]: on a body's face or at a point, and the gap that matters there.

    A face is the whole side of the box round the body. What closes on it are the other bodies, of
    which at least one of the two moves; on a point of the world, the free ones.
    """

    name: Name = Field(description="what results call it")
    body: Name | None = Field(None, description="the body it lies on; the world where left out")
    face: Literal["+x", "-x", "+y", "-y", "+z", "-z"] | None = Field(
        None, description="the whole side of the body"
    )
    point: Position | None = Field(None, description="in the body's frame, or the world's")
    gap: Gap = Field(0.025, description="25 mm for a finger, 100 mm for a hand")

    @model_validator(mode="after")
    def _somewhere(self) -> Self:
        if (self.face is None) == (self.point is None):
            raise ValueError("needs either a face (with body) or a point")
        if self.face is not None and self.body is None:
            raise ValueError("has a face but no body; name the body")
        return self
