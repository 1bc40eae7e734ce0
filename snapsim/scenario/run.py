"""How long and how finely to compute."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from snapsim.scenario.fields import Duration, Flag, Table

LONGEST_RUN = 600.0
"""Longest simulated time [s]: a slip of the unit should not cost a night."""


def _not_too_long(value: float) -> float:
    if value > LONGEST_RUN:
        raise ValueError(f"is {value:g} s; at most {LONGEST_RUN:g} s is allowed")
    return value


class RunDescription(Table):
    """[run]."""

    duration: Annotated[Duration, AfterValidator(_not_too_long)] = 1.0
    detail: Literal["draft", "normal", "fine"] = Field(
        "normal", description="cells per part and tolerances"
    )
    recoil: Flag = Field(
        False,
        description="magnets yield by their recoil permeability to the field that they are in",
    )
