"""Published limits, as data: one TOML file a standard in `limits`, each value with its source.

A file has standard, edition, clause, protects, where it is a piece of equipment its name, and
[[limit]] entries: name, measure (a key of a run's "measures"), most or least, unit, known (how the
value is known; "from memory" where nobody could look it up), applies (the kind of blow it is for,
where its measure knows only such blows), and a clause of their own where it differs. A house limit
is a file of the same form.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, ValidationError, model_validator

from snapsim.scenario.explain import input_error
from snapsim.scenario.fields import Table
from snapsim.scenario.text_file import read_toml

FOLDER = Path(__file__).parent / "limits"

Text = Annotated[str, Field(min_length=1)]


class Limit(Table):
    """One limit: what is beyond `most`, or below `least`, exceeds it."""

    name: Text
    measure: Text
    most: float | None = None
    least: float | None = None
    unit: Text
    known: Text
    clause: str = ""
    applies: str = ""

    @model_validator(mode="after")
    def _one_side(self) -> Self:
        if (self.most is None) == (self.least is None):
            raise ValueError("needs either most or least")
        return self

    @property
    def bound(self) -> float:
        """The value itself."""
        return self.most if self.most is not None else float(self.least or 0.0)

    def exceeded(self, value: float) -> bool:
        """Return whether a value is on the wrong side; one on the bound itself is not."""
        return value > self.most if self.most is not None else value < self.bound


class Standard(Table):
    """One file."""

    standard: Text
    edition: Text
    clause: Text
    protects: Text
    equipment: str = ""
    limit: tuple[Limit, ...] = Field(min_length=1)


def described(standard: Standard, limit: Limit) -> dict[str, str | float]:
    """Return what a limit is and how it is known, as tables and JSON have it."""
    return {
        "name": limit.name,
        "standard": standard.standard,
        "edition": standard.edition,
        "clause": limit.clause or standard.clause,
        "protects": standard.protects,
        "equipment": standard.equipment,
        "measure": limit.measure,
        "bound": limit.bound,
        "side": "most" if limit.most is not None else "least",
        "unit": limit.unit,
        "known": limit.known,
        "applies_to": limit.applies,
    }


def standards(more: Iterable[str] = ()) -> list[Standard]:
    """Return the published limits and those of house files; raises InputError."""
    return [_read(path) for path in (*sorted(FOLDER.glob("*.toml")), *map(Path, more))]


def _read(path: Path) -> Standard:
    document = read_toml(str(path), "limits are TOML in UTF-8")
    try:
        return Standard.model_validate(document)
    except ValidationError as error:
        raise input_error(error, document, str(path), Standard) from None
