"""How a body is turned: one step, or several applied in order about the world's axes."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from snapsim.scenario.fields import Angle, Direction, Four, Quaternion, Table


class TurnDescription(Table):
    """A turn by `angle` about `axis` (world axes, right-handed)."""

    axis: Direction = Field(description="an axis of the world, or a vector")
    angle: Angle = Field(description="right-handed about it")


def _as_list(value: object) -> object:
    return [value] if isinstance(value, dict) else value


Rotation = Annotated[
    tuple[TurnDescription, ...],
    BeforeValidator(_as_list, json_schema_input_type=TurnDescription | list[TurnDescription]),
    Field(description="one turn, or a list of turns applied in order about the world's axes"),
]


def quaternion_of(turns: tuple[TurnDescription, ...], quaternion: Quaternion | None) -> Four:
    """Return the unit quaternion (w, x, y, z), body to world, of the turns or as given."""
    from snapsim.numerics import rotations

    if quaternion is not None:
        return quaternion
    total = rotations.IDENTITY
    for turn in turns:
        total = rotations.multiply(rotations.from_axis_angle(turn.axis, turn.angle), total)
    w, x, y, z = (float(c) for c in rotations.normalise(total))
    return w, x, y, z
