"""What happens where bodies touch: the default pair, and exceptions by names or materials."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from snapsim.scenario.fields import Gap, Name, Number, Speed, Table
from snapsim.scenario.quantities import shown

FROM_MATERIALS: Final = "from materials"
"""In place of a restitution: hardness, elastic constants, masses and speed of each blow give it."""


def _restitution(value: object) -> object:
    """Refuse what is neither a number from 0 to 1 nor `FROM_MATERIALS`."""
    if value == FROM_MATERIALS:
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        raise ValueError(
            f"{shown(value)} is no restitution; allowed is a number from 0 to 1, or"
            f' "{FROM_MATERIALS}"'
        )
    return float(value)


_EITHER: Final[dict[str, Any]] = {
    "anyOf": [{"type": "number", "minimum": 0, "maximum": 1}, {"const": FROM_MATERIALS}],
    "description": "share of the approach speed kept, 0 to 1",
}

Restitution = Annotated[
    float | Literal["from materials"],
    BeforeValidator(_restitution),
    WithJsonSchema(_EITHER),
    Field(
        description="share of the approach speed kept, 0 to 1; from materials: by hardness, elastic"
        " constants, mass and speed of each blow"
    ),
]
YieldSpeed = Annotated[
    Speed,
    Field(description="closing speed above which restitution falls as its power -1/4 (plastic)"),
]
Friction = Annotated[Number, Field(ge=0, description="Coulomb coefficient")]


def refuse_two_laws(restitution: float | str | None, yield_speed: float | None) -> None:
    """Raise ValueError for a yield speed beside a restitution that falls by itself."""
    if restitution == FROM_MATERIALS and yield_speed is not None:
        raise ValueError(
            f'yield_speed means nothing beside restitution = "{FROM_MATERIALS}"; leave it out'
        )


class PairDescription(Table):
    """One [[contact.pair]]; what it leaves out is as in [contact]."""

    between: tuple[Name, Name] = Field(description="names of bodies or of materials")
    restitution: Restitution | None = Field(
        None, description="share of the approach speed kept, or from materials"
    )
    friction: Friction | None = Field(None, description="Coulomb coefficient")
    air_gap: Gap | None = Field(None, description="coating or tape that keeps the two apart")
    yield_speed: YieldSpeed | None = Field(
        None, description="closing speed above which restitution falls"
    )

    @model_validator(mode="after")
    def _one_law(self) -> Self:
        refuse_two_laws(self.restitution, self.yield_speed)
        return self


class ContactDescription(Table):
    """[contact]: the default for every pair of bodies."""

    restitution: Restitution = 0.3
    friction: Friction = 0.35
    air_gap: Annotated[Gap, Field(description="coating or tape that keeps bodies apart")] = 0.0
    yield_speed: YieldSpeed | None = Field(
        None, description="closing speed above which restitution falls as its power -1/4 (plastic)"
    )
    pair: tuple[PairDescription, ...] = Field((), description="pairs for which it is otherwise")

    @model_validator(mode="after")
    def _one_law(self) -> Self:
        refuse_two_laws(self.restitution, self.yield_speed)
        return self
