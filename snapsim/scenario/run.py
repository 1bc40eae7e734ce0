"""How long and how finely to compute."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field

from snapsim.scenario.fields import Duration, Flag, Number, Table

LONGEST_RUN = 600.0
"""Longest simulated time [s]: a slip of the unit should not cost a night."""


def _not_too_long(value: float) -> float:
    if value > LONGEST_RUN:
        raise ValueError(f"is {value:g} s; at most {LONGEST_RUN:g} s is allowed")
    return value


TOLERANCES: Final = (1e-12, 1e-3)
"""Least and most of `tolerance`: below, rounding decides; above, energy goes missing."""


def _a_tolerance(value: float) -> float:
    least, most = TOLERANCES
    if not least <= value <= most:
        raise ValueError(f"is {value:g}; a share from {least:g} to {most:g} is allowed")
    return value


class RunDescription(Table):
    """[run]."""

    duration: Annotated[Duration, AfterValidator(_not_too_long)] = Field(
        1.0, description="how long the motion is followed"
    )
    detail: Literal["draft", "normal", "fine"] = Field(
        "normal", description="cells per part, and tolerance where none is given"
    )
    tolerance: Annotated[Number, AfterValidator(_a_tolerance)] | None = Field(
        None,
        description="share of lengths and speeds that a step of the motion may err by;"
        " below 1e-6 the field is solved at every pose",
    )
    recoil: Flag = Field(
        False,
        description="magnets yield by their recoil permeability to the field that they are in",
    )
    eddy_currents: Flag = Field(
        True,
        description="conductors that are neither iron nor magnets brake magnets that move by them",
    )
