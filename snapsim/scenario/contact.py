"""What happens where bodies touch: the default pair, and exceptions by names or materials."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from snapsim.scenario.fields import Gap, Name, Number, Speed, Table

Restitution = Annotated[
    Number, Field(ge=0, le=1, description="share of the approach speed kept, 0 to 1")
]
YieldSpeed = Annotated[
    Speed,
    Field(description="closing speed above which restitution falls as its power -1/4 (plastic)"),
]
Friction = Annotated[Number, Field(ge=0, description="Coulomb coefficient")]


class PairDescription(Table):
    """One [[contact.pair]]; what it leaves out is as in [contact]."""

    between: tuple[Name, Name] = Field(description="names of bodies or of materials")
    restitution: Restitution | None = Field(None, description="share of the approach speed kept")
    friction: Friction | None = Field(None, description="Coulomb coefficient")
    air_gap: Gap | None = Field(None, description="coating or tape that keeps the two apart")
    yield_speed: YieldSpeed | None = Field(
        None, description="closing speed above which restitution falls"
    )


class ContactDescription(Table):
    """[contact]: the default for every pair of bodies."""

    restitution: Restitution = 0.3
    friction: Friction = 0.35
    air_gap: Annotated[Gap, Field(description="coating or tape that keeps bodies apart")] = 0.0
    yield_speed: YieldSpeed | None = Field(
        None, description="closing speed above which restitution falls as its power -1/4 (plastic)"
    )
    pair: tuple[PairDescription, ...] = Field((), description="pairs for which it is otherwise")
