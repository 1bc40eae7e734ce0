"""The study file: a scene, what of it is uncertain or swept, and what counts."""

from __future__ import annotations

import json
from enum import StrEnum
from os import PathLike, fspath
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from snapsim.errors import InputError
from snapsim.scenario.explain import input_error
from snapsim.scenario.fields import Direction, Energy, Flag, Force, Length, Name, Speed, Table
from snapsim.scenario.text_file import read_toml
from snapsim.study.distributions import Distribution
from snapsim.study.outcome_row import Measure, WhatCounts
from snapsim.study.placement import Placement


class Stop(StrEnum):
    """Where a run may end, as an author writes it."""

    END = "end of run"
    STRUCK = "first blow on a magnet"


Count = Literal["snap", "pinch", "magnet_struck", "string_broken", "table_overloaded"]


class CorrelatedPair(Table):
    """One [[correlated]]: two varied keys that go together (a Gaussian copula)."""

    between: tuple[str, str] = Field(description="two keys of [vary]")
    correlation: Annotated[float, Field(strict=True, gt=-1, lt=1)] = Field(
        description="of the normal scores, -1 to 1"
    )


class PlaceDescription(Table):
    """One [[place]]: a body moved along a direction until its gap to another is the one given."""

    body: Name = Field(description="the body that is moved")
    to: Name = Field(description="the body that it comes near")
    along: Direction = Field((0.0, 0.0, -1.0), description="the way it is moved, world axes")
    gap: Length = Field(0.0, description="the gap it ends with")


class SetupDescription(Table):
    """One [[setup]]: a what-if of its own, with some keys of the scene changed."""

    name: Name = Field(description="what tables call it")
    set: dict[str, Any] = Field({}, description="keys of the scene changed in it")


class CountDescription(Table):
    """[count]: where the lines are drawn."""

    what: tuple[Count, ...] = Field(
        ("snap", "pinch", "magnet_struck", "string_broken"),
        min_length=1,
        description="columns of the hazard table, the one it is ordered by first",
    )
    snap_energy: Energy = Field(
        0.1, description="effective energy of a blow on a magnet from which it is a snap"
    )
    magnet_speed: Speed = Field(
        0.05, description="closing speed from which a blow on a magnet counts"
    )
    table_load: dict[str, Force] = Field({}, description="sustained force a fixed body may bear")

    @model_validator(mode="after")
    def _known(self) -> Self:
        if "table_overloaded" in self.what and not self.table_load:
            raise ValueError('counts "table_overloaded"; give table_load = { table = "300 N" }')
        return self

    @property
    def flags(self) -> tuple[Count, ...]:
        """What is counted; a table load that is given counts too."""
        more: tuple[Count, ...] = ("table_overloaded",) if self.table_load else ()
        return tuple(dict.fromkeys((*self.what, *more)))


class RareDescription(Table):
    """[rare]: an event of small chance, found by subset simulation instead of plain sampling.

    The bound is in the unit that the measure's name ends in. A measure serves that grows, or
    shrinks, towards the event: for a snap, the least gap to a magnet.
    """

    measure: Measure = Field(description="a number that each run gives")
    exceeds: float | None = Field(None, description="the event: the measure is above this")
    below: float | None = Field(None, description="the event: the measure is below this")
    levels: int = Field(8, ge=1, le=20, strict=True, description="at most; each is a tenth as rare")

    @model_validator(mode="after")
    def _one_side(self) -> Self:
        if (self.exceeds is None) == (self.below is None):
            raise ValueError("needs either exceeds or below, like exceeds = 200.0")
        return self

    @property
    def bound(self) -> float:
        """The bound itself."""
        return self.exceeds if self.exceeds is not None else float(self.below or 0.0)


class Study(Table):
    """A study as its author wrote it."""

    title: str = Field("", description="what the study asks, in a line")
    note: str = Field("", description="what it teaches")
    scene: str = Field(min_length=1, description="scene file, beside the study")
    samples: int = Field(64, ge=2, le=1_000_000, strict=True, description="a replicate")
    replicates: int = Field(4, ge=1, le=99, strict=True, description="independent scrambles")
    seed: int = Field(1, ge=0, strict=True, description="of the sampling")
    sensitivities: Flag = Field(False, description="samples * (varied keys + 2) runs a replicate")
    stop: Stop = Field(Stop.END, description="how far each run is followed")
    coarse_first: Flag = Field(
        False,
        description="long steps for all runs, usual ones where these leave the outcome open; left"
        " out with fewer than 12 runs a setup",
    )
    twins: int = Field(
        0,
        ge=0,
        le=1000,
        strict=True,
        description="runs of each setup that are made twice, begun a millionth otherwise: tells"
        " which numbers of a run are chances",
    )
    set: dict[str, Any] = Field({}, description="keys of the scene changed in all runs")
    vary: dict[str, Distribution] = Field({}, description="scene keys and their spread")
    correlated: tuple[CorrelatedPair, ...] = Field(
        (), description="pairs of varied keys that go together"
    )
    place: tuple[PlaceDescription, ...] = Field((), description="bodies set down before each run")
    setup: tuple[SetupDescription, ...] = Field(
        (), description="what-ifs, each run with all samples"
    )
    count: CountDescription = Field(
        CountDescription(), description="what is counted, and from where on"
    )
    rare: RareDescription | None = Field(None, description="an event of small chance")

    @model_validator(mode="after")
    def _sound(self) -> Self:
        for pair in self.correlated:
            for key in pair.between:
                if key not in self.vary:
                    raise ValueError(f'correlates "{key}", which [vary] does not have')
        if self.sensitivities and self.correlated:
            raise ValueError("asks for sensitivities of correlated keys; these need independence")
        if self.sensitivities and self.samples & (self.samples - 1):
            raise ValueError("needs samples that are a power of 2 for sensitivities, like 64")
        if self.rare is not None:
            self._check_rare()
        names = [s.name for s in self.setup]
        if len(set(names)) != len(names):
            raise ValueError("names a setup twice")
        if not self.vary and not self.setup:
            raise ValueError("varies nothing; give [vary] or [[setup]]")
        return self

    def _check_rare(self) -> None:
        for key in ("sensitivities", "coarse_first"):
            if getattr(self, key):
                raise ValueError(f"has [rare], which goes without {key}")
        if not self.vary:
            raise ValueError("has [rare] but varies nothing; give [vary]")
        if self.replicates < 2 or self.samples < 20:
            raise ValueError("has [rare], which needs at least 2 replicates of 20 samples")

    def counts(self) -> WhatCounts:
        """Return where the lines are drawn."""
        c = self.count
        return WhatCounts(c.snap_energy, c.magnet_speed, c.table_load)

    def placements(self) -> tuple[Placement, ...]:
        """Return the placements, in order."""
        return tuple(Placement(p.body, p.to, p.along, p.gap) for p in self.place)


def load_study(path: str | PathLike[str]) -> Study:
    """Read a study file; raises InputError with one line: file, key, what is wrong."""
    file = fspath(path)
    return study_from(read_toml(file, "a study is TOML in UTF-8"), file)


def study_from(document: dict[str, Any], file: str) -> Study:
    """Return a TOML document as a checked study; raises InputError."""
    try:
        return Study.model_validate(document)
    except ValidationError as error:
        raise input_error(error, document, file, Study) from None


def study_from_text(text: str, name: str) -> Study:
    """Return a study that a ledger keeps as JSON; raises InputError where it is damaged."""
    try:
        document = json.loads(text)
        return Study.model_validate_json(text)
    except ValidationError as error:
        said = input_error(error, document, f"{name}: the study it holds", Study)
    except ValueError:
        said = InputError("holds a study that cannot be read", file=name)
    raise said


def study_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a study file."""
    schema = Study.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "snapsim study"
    return schema


def setups(study: Study) -> list[str]:
    """Return the names of a study's setups; one called "as given" where it has none."""
    return [s.name for s in study.setup] or ["as given"]
