"""Quantities as people write them, "120 x 80 x 40 mm", turned into SI numbers, and back.

A quantity is one text: numbers parted by "x" or ",", each with its unit or sharing the last one.
Units are read by pint. Angles are told apart from plain numbers, and rad/s from Hz.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from snapsim.scenario.usual_units import USUAL

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PART = re.compile(rf"\s*({_NUMBER}|[+-]?(?:nan|inf(?:inity)?)(?![a-z]))\s*(.*?)\s*", re.IGNORECASE)
_FACTOR = r"[A-Za-zµμΩ°%]{1,30}\s*(?:(?:\^|\*\*)\s*-?[1-9]|[²³])?"
_FACTORS = rf"{_FACTOR}(?:(?:\s*[*·]\s*|\s+){_FACTOR}){{0,3}}"
_UNIT = re.compile(rf"{_FACTORS}(?:\s*/\s*(?:{_FACTOR}|\({_FACTORS}\))){{0,3}}")
"""A unit: names with powers of one digit, multiplied and divided ("kg/m^3", "N*m", "J/(kg K)").
Nothing else of a text reaches pint, which would work out any arithmetic it finds."""


LONGEST = 200
"""Characters of one number and its unit: blanks without end would be searched over and over."""


@dataclass(frozen=True)
class QuantityKind:
    """A kind of quantity: name, the SI unit it is kept in, an example, the sign between many."""

    name: str
    unit: str
    example: str
    between: str = ", "


LENGTH = QuantityKind("a length", "m", "60 mm")
SIZES = QuantityKind("three lengths", "m", "120 x 80 x 40 mm", " x ")
TWO_SIZES = QuantityKind("two lengths", "m", "60 x 30 mm", " x ")
ANGLE = QuantityKind("an angle", "rad", "12 deg")
TIME = QuantityKind("a time", "s", "1.5 s")
SPEED = QuantityKind("a speed", "m/s", "0.2 m/s")
SPIN = QuantityKind("a rate of turn", "rad/s", "90 deg/s")
ACCELERATION = QuantityKind("an acceleration", "m/s^2", "9.81 m/s^2")
DENSITY = QuantityKind("a density", "kg/m^3", "7200 kg/m^3")
STRESS = QuantityKind("a stress", "Pa", "110 GPa")
FORCE = QuantityKind("a force", "N", "50 N")
ENERGY = QuantityKind("an energy", "J", "0.5 J")
TORQUE = QuantityKind("a torque", "N*m", "2 N*m")
STIFFNESS = QuantityKind("a stiffness", "N/m", "5000 N/m")
FLUX_DENSITY = QuantityKind("a flux density", "T", "1.3 T")
FIELD_STRENGTH = QuantityKind("a field strength", "A/m", "955 kA/m")
CURRENT = QuantityKind("a current", "A", "5 A")
CONDUCTIVITY = QuantityKind("a conductivity", "S/m", "1.0 MS/m")


def parse(text: object, kind: QuantityKind, count: int = 1) -> tuple[float, ...]:
    """Return `count` numbers in `kind.unit`; raises ValueError with a text for a person.

    The text says what is wrong and gives an example; it does not name the key.
    """
    wanted = f'write {kind.name} with the unit in quotes, like "{example(kind, count)}"'
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        raise ValueError(f"the number {text!r} has no unit; {wanted}")
    if not isinstance(text, str):
        raise ValueError(f"{shown(text)} is no quantity; {wanted}")
    pieces = _split(text)
    if len(pieces) != count:
        found = f"{len(pieces)} value" + "s" * (len(pieces) != 1)
        raise ValueError(f'"{text}" has {found} where {count} are due; {wanted}')
    numbers, units = zip(*(_number_and_unit(p, text, wanted) for p in pieces), strict=True)
    last = units[-1]
    if not last:
        raise ValueError(f'"{text}" has no unit; {wanted}')
    scaled = (_to_si(n, u or last, kind, wanted) for n, u in zip(numbers, units, strict=True))
    return tuple(_finite(value, text) for value in scaled)


def parse_numbers(text: object, count: int, example_text: str) -> tuple[float, ...]:
    """Return `count` plain numbers of a text like "0.1, 0, 1"; raises ValueError."""
    wanted = f'write {count} plain numbers in quotes, like "{example_text}"'
    if not isinstance(text, str):
        raise ValueError(f"{shown(text)} is no list of numbers; {wanted}")
    pieces = _split(text)
    if len(pieces) != count:
        raise ValueError(f'"{text}" has {len(pieces)} values where {count} are due; {wanted}')
    found = [_number_and_unit(p, text, wanted) for p in pieces]
    if any(unit for _, unit in found):
        raise ValueError(f'"{text}" must be without a unit; {wanted}')
    return tuple(_finite(number, text) for number, _ in found)


def write(values: tuple[float, ...] | float, kind: QuantityKind) -> str:
    """Return the text that `parse` reads back to the very same numbers."""
    numbers = values if isinstance(values, tuple) else (values,)
    return f"{kind.between.join(repr(float(n)) for n in numbers)} {kind.unit}"


def with_component(text: str | None, i: int, value: str) -> str:
    """Return three numbers "0, 0, 20 mm" with number `i` replaced; raises ValueError.

    Each keeps its unit; where there is no text yet the others are zero.
    """
    unit = _number_and_unit(value, value, "write a number with its unit")[1]
    pieces = _split(text) if text else [f"0 {unit}"] * 3
    if len(pieces) != 3 or len(_split(value)) != 1:
        raise ValueError(f'"{value}" cannot be one of the three numbers of "{text}"')
    units = [_number_and_unit(p, p, "write a number with its unit")[1] for p in pieces]
    whole = [
        p.strip() if u else f"{p.strip()} {units[-1]}" for p, u in zip(pieces, units, strict=True)
    ]
    whole[i] = value.strip()
    return ", ".join(whole)


def example(kind: QuantityKind, count: int) -> str:
    """Return an example text of `count` values."""
    if count == 1 or kind.between != ", ":
        return kind.example
    number, unit = kind.example.split(" ", 1)
    return ", ".join(["0"] * (count - 1) + [number]) + f" {unit}"


def _split(text: str) -> list[str]:
    """Part a text at its commas, or at its lone x."""
    if "," in text:
        return text.split(",")
    return re.split(r"(?<=[\sA-Za-z0-9.])[x×](?=\s*[\d.+-])", text)


def _number_and_unit(piece: str, text: str, wanted: str) -> tuple[float, str]:
    match = _PART.fullmatch(piece) if len(piece) <= LONGEST else None
    if match is None:
        text, piece = shown(text), shown(piece)
        raise ValueError(f'"{text}" cannot be read: "{piece.strip()}" is no number; {wanted}')
    return float(match[1]), match[2]


def _finite(value: float, text: str) -> float:
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not finite; a finite number is needed')
    return value


def shown(value: object) -> str:
    """A value as an error shows it: short, one line."""
    text = " ".join(str(value).split()) if not isinstance(value, bool) else str(value).lower()
    return text if len(text) <= 60 else text[:57] + "..."


class UnknownUnit(ValueError):
    """A unit that is none."""


class OtherDimension(ValueError):
    """A unit of another quantity than the one asked for."""


@cache
def _registry() -> Any:  # pint's own types are too wide to compute with
    from pint import UnitRegistry

    return UnitRegistry()


@cache
def scale(unit: str, target: str) -> float:
    """Factor from `unit` to `target`; raises UnknownUnit or OtherDimension."""
    if len(unit) > 60 or not _UNIT.fullmatch(unit):
        raise UnknownUnit(unit)
    if unit == target and target in USUAL:
        return 1.0
    usual = USUAL.get(target, {}).get(unit)
    return _factor(unit, target) if usual is None else usual


def _factor(unit: str, target: str) -> float:
    """The factor by pint."""
    registry = _registry()
    try:
        root, dimension = registry.get_root_units(registry.parse_units(unit))
        wanted, target_dimension = registry.get_root_units(registry.parse_units(target))
    except Exception as error:  # pint raises many kinds, down to tokenize's, on odd texts
        raise UnknownUnit(unit) from error
    if dimension != target_dimension:
        raise OtherDimension(unit)
    if unit != target and not math.isclose(
        float(registry.Quantity(2.0, unit).to(target).magnitude), 2 * root / wanted, rel_tol=1e-9
    ):
        raise OtherDimension(unit)  # a unit with an offset, or a logarithmic one
    return float(root / wanted)


def _to_si(number: float, unit: str, kind: QuantityKind, wanted: str) -> float:
    if unit == kind.unit:
        return number
    try:
        factor = scale(unit, kind.unit)
    except UnknownUnit:
        raise ValueError(f'"{unit}" is no known unit; {wanted}') from None
    except OtherDimension:
        raise ValueError(f'"{unit}" is not a unit of {kind.name}; {wanted}') from None
    if factor < 1 and math.isclose(round(1 / factor) * factor, 1, rel_tol=1e-12):
        return number / round(1 / factor)  # 18 mm is 0.018 m, to the last bit
    whole = round(factor)
    return number * (whole if math.isclose(whole, factor, rel_tol=1e-12) else factor)
