"""The field types that scene models are made of: text in the file, SI numbers in the model."""

from __future__ import annotations

import math
from typing import Annotated, Any, TypeAlias

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    WithJsonSchema,
)

from snapsim.scenario import quantities
from snapsim.scenario.quantities import QuantityKind

Three: TypeAlias = tuple[float, float, float]
Four: TypeAlias = tuple[float, float, float, float]


class Table(BaseModel):
    """A table of the scene file: unknown keys are errors, values do not change once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def example(table: dict[str, Any]) -> ConfigDict:
    """Return the settings of a kind of table with an example of it: the schema shows it to editors,
    and the tests take it through every command."""
    return ConfigDict(json_schema_extra={"examples": [table]})


Number = Annotated[float, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]


def number_or_text(value: object) -> object:
    """Refuse what is neither a plain number nor a text, such as "5 mm"."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f'{quantities.shown(value)} is no number; write 0.3, or "5 mm"')
    return value


def _schema(kind: QuantityKind, count: int) -> WithJsonSchema:
    what = f"{kind.name} with its unit" if count == 1 else f"{count} numbers with their unit"
    example = quantities.example(kind, count)
    return WithJsonSchema(
        {"type": "string", "description": what, "examples": [example], "x-si-unit": kind.unit}
    )


def _one(kind: QuantityKind) -> tuple[Any, ...]:
    """What makes a float field a quantity of this kind."""
    return (
        BeforeValidator(lambda value: quantities.parse(value, kind)[0]),
        PlainSerializer(lambda value: quantities.write(value, kind), return_type=str),
        _schema(kind, 1),
    )


def _many(kind: QuantityKind, count: int) -> tuple[Any, ...]:
    """What makes a tuple field a list of quantities of this kind."""
    return (
        BeforeValidator(lambda value: quantities.parse(value, kind, count)),
        PlainSerializer(lambda value: quantities.write(value, kind), return_type=str),
        _schema(kind, count),
    )


def positive(value: float) -> float:
    """Refuse zero and below."""
    if value <= 0:
        raise ValueError(f"is {value:g} in SI units; it must be greater than 0")
    return value


def not_negative(value: float) -> float:
    """Refuse what is below zero."""
    if value < 0:
        raise ValueError(f"is {value:g} in SI units; it must be 0 or greater")
    return value


Length = Annotated[float, *_one(quantities.LENGTH)]
Angle = Annotated[float, *_one(quantities.ANGLE)]
Time = Annotated[float, *_one(quantities.TIME)]
Density = Annotated[float, *_one(quantities.DENSITY), AfterValidator(positive)]
Stress = Annotated[float, *_one(quantities.STRESS), AfterValidator(positive)]
Force = Annotated[float, *_one(quantities.FORCE), AfterValidator(positive)]
Torque = Annotated[float, *_one(quantities.TORQUE), AfterValidator(positive)]
Energy = Annotated[float, *_one(quantities.ENERGY), AfterValidator(not_negative)]
Speed = Annotated[float, *_one(quantities.SPEED), AfterValidator(not_negative)]
Stiffness = Annotated[float, *_one(quantities.STIFFNESS), AfterValidator(positive)]
FluxDensity = Annotated[float, *_one(quantities.FLUX_DENSITY), AfterValidator(positive)]
FieldStrength = Annotated[float, *_one(quantities.FIELD_STRENGTH)]
CurveFluxDensity = Annotated[float, *_one(quantities.FLUX_DENSITY)]
Conductivity = Annotated[float, *_one(quantities.CONDUCTIVITY), AfterValidator(not_negative)]
Duration = Annotated[float, *_one(quantities.TIME), AfterValidator(positive)]
Gap = Annotated[float, *_one(quantities.LENGTH), AfterValidator(not_negative)]

Position = Annotated[Three, *_many(quantities.LENGTH, 3)]
Point2 = Annotated[tuple[float, float], *_many(quantities.LENGTH, 2)]
TwoSizes = Annotated[tuple[float, float], *_many(quantities.TWO_SIZES, 2)]
Sizes = Annotated[Three, *_many(quantities.SIZES, 3)]
Velocity = Annotated[Three, *_many(quantities.SPEED, 3)]
Spin = Annotated[Three, *_many(quantities.SPIN, 3)]
Gravity = Annotated[Three, *_many(quantities.ACCELERATION, 3)]


MOST_ROWS = 1000
"""Rows of a table of currents."""


def _read_current(value: object) -> tuple[tuple[float, float], ...]:
    """Read "5 A", or rows of time and current, as rows."""
    if not isinstance(value, list | tuple):
        return ((0.0, quantities.parse(value, quantities.CURRENT)[0]),)
    if not 1 <= len(value) <= MOST_ROWS:
        raise ValueError(f"has {len(value)} rows; 1 to {MOST_ROWS} are allowed")
    rows = []
    for n, row in enumerate(value, 1):
        if not isinstance(row, list | tuple) or len(row) != 2:
            raise ValueError(f'row {n}: write a time and a current, like ["0.2 s", "5 A"]')
        try:
            time = quantities.parse(row[0], quantities.TIME)[0]
            rows.append((time, quantities.parse(row[1], quantities.CURRENT)[0]))
        except ValueError as error:
            raise ValueError(f"row {n}: {error}") from None
        if time < (rows[-2][0] if n > 1 else 0.0):
            least = "0 s, the release" if n == 1 else "that of the row above"
            raise ValueError(f"row {n}: its time must not be before {least}")
    return tuple(rows)


def _write_current(rows: tuple[tuple[float, float], ...]) -> str | list[list[str]]:
    if len(rows) == 1:
        return quantities.write(rows[0][1], quantities.CURRENT)
    kinds = quantities.TIME, quantities.CURRENT
    return [[quantities.write(v, k) for v, k in zip(row, kinds, strict=True)] for row in rows]


Current = Annotated[
    tuple[tuple[float, float], ...],
    BeforeValidator(_read_current),
    PlainSerializer(_write_current),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "examples": ["5 A"], "x-si-unit": "A"},
                {"type": "array", "examples": [[["0 s", "5 A"], ["0.2 s", "0 A"]]]},
            ]
        }
    ),
]
"""Rows of time [s] and current [A]: one for a constant current."""

_AXES: dict[str, Three] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


def read_direction(value: object) -> Three:
    """Read "x", "-z" or "0.1, 0, 1" as a unit vector."""
    text = value.strip() if isinstance(value, str) else value
    if isinstance(text, str) and text.lstrip("+-") in _AXES and len(text) <= 2:
        sign = -1.0 if text.startswith("-") else 1.0
        x, y, z = (sign * c + 0.0 for c in _AXES[text.lstrip("+-")])
        return x, y, z
    try:
        x, y, z = quantities.parse_numbers(text, 3, "0.1, 0, 1")
    except ValueError as error:
        raise ValueError(f'{error}, or an axis like "+x", "-z"') from None
    length = math.hypot(x, y, z)
    if length == 0:
        raise ValueError('a direction of zero length; write an axis like "-z", or "0.1, 0, 1"')
    if abs(length - 1) < 1e-15:
        return x, y, z
    return x / length, y / length, z / length


def _write_direction(value: Three) -> str:
    for name, axis in _AXES.items():
        for sign, prefix in ((1.0, "+"), (-1.0, "-")):
            if value == tuple(sign * c for c in axis):
                return prefix + name
    return ", ".join(repr(float(c)) for c in value)


Direction = Annotated[
    Three,
    BeforeValidator(read_direction),
    PlainSerializer(_write_direction, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "description": "an axis or a vector of any length",
            "examples": ["-z", "0.1, 0, 1"],
        }
    ),
]


def _unit_quaternion(value: object) -> Four:
    w, x, y, z = quantities.parse_numbers(value, 4, "1, 0, 0, 0")
    length = math.sqrt(w * w + x * x + y * y + z * z)
    if length == 0:
        raise ValueError('a quaternion of zero length is no rotation; like "1, 0, 0, 0"')
    if abs(length - 1) < 1e-15:
        return w, x, y, z
    return w / length, x / length, y / length, z / length


Quaternion = Annotated[
    Four,
    BeforeValidator(_unit_quaternion),
    PlainSerializer(lambda q: ", ".join(repr(float(c)) for c in q), return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "description": "w, x, y, z: scalar first, body to world; brought to unit length",
            "examples": ["0.7071, 0, 0.7071, 0"],
        }
    ),
]


def _name(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no name; write text in quotes")
    if not value.strip() or value != value.strip():
        raise ValueError("a name must not be empty, nor start or end with a blank")
    if not value.isprintable():
        raise ValueError("a name must be printable text on one line")
    return value


Name = Annotated[str, BeforeValidator(_name), WithJsonSchema({"type": "string", "minLength": 1})]
