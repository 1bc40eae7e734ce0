"""A range of values of one key of a scene, as people write it: "0..90 deg", "20 mm .. 60 mm".

Ends may have several numbers, "60 x 40 x 20 mm..120 x 80 x 40 mm": all go from one end to the other
together.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from snapsim.errors import InputError
from snapsim.scenario.quantities import scale

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Span:
    """Values from `low` to `high` of `key`: the numbers of either end in `unit`, parted by `sign`.

    `unit` is "" for a plain number.
    """

    key: str
    low: tuple[float, ...]
    high: tuple[float, ...]
    unit: str
    sign: str

    def numbers(self, i: int, n: int) -> tuple[float, ...]:
        """Return the numbers `i` of `n` steps on the way; the ends exactly."""
        if i in (0, n):
            return self.high if i == n else self.low
        return tuple(a + (b - a) * (i / n) for a, b in zip(self.low, self.high, strict=True))

    def text(self, numbers: tuple[float, ...]) -> str:
        """Return the value as it would stand in a scene."""
        return f"{self.sign.join(repr(x) for x in numbers)} {self.unit}".strip()

    def change(self, i: int, n: int) -> str:
        """Return what `--set` takes."""
        value = self.text(self.numbers(i, n))
        return f'{self.key}="{value}"' if self.unit else f"{self.key}={value}"

    @property
    def shown(self) -> int:
        """Which number a plot shows: the first that changes."""
        return next(k for k, (a, b) in enumerate(zip(self.low, self.high, strict=True)) if a != b)


def read_span(text: str, option: str) -> Span:
    """Return the range of "KEY=FROM..TO"; raises InputError naming the option."""
    key, sign, values = text.partition("=")
    ends = re.split(r"\s*\.\.\s*", values.strip().strip('"'))
    if not sign or not key.strip() or len(ends) != 2:
        raise InputError(
            f'"{text}" is no range; write KEY=FROM..TO, like body.blank.rotation.angle="0..90 deg"',
            key=option,
        )
    return span_between(key.strip(), ends[0], ends[1], option)


def span_between(key: str, low: str, high: str, option: str) -> Span:
    """Return the range between two values; raises InputError naming the option."""
    first, second = _read(low, option), _read(high, option)
    unit = second.unit or first.unit
    if first.unit not in ("", unit):
        raise InputError(f'"{low}" and "{high}" differ in unit; write both in one', key=option)
    if len(first.numbers) != len(second.numbers):
        raise InputError(f'"{low}" and "{high}" are of different kinds', key=option)
    if first.numbers == second.numbers:
        raise InputError(f'"{low}" to "{high}" is no range: both ends are equal', key=option)
    return Span(key, first.numbers, second.numbers, unit, second.sign)


def step_in(text: str, unit: str, option: str) -> float:
    """Return a positive step "0.5 deg" in a unit; raises InputError naming the option."""
    end = _read(text, option)
    if len(end.numbers) != 1 or not end.numbers[0] > 0:
        raise InputError(f'"{text}" is no step: one number above zero is due', key=option)
    if end.unit == unit:
        return end.numbers[0]
    if not end.unit or not unit:
        raise InputError(f'"{text}" must be in {unit or "plain numbers"}, as the range', key=option)
    return end.numbers[0] * converted(end.unit, unit, option)


def converted(unit: str, target: str, option: str) -> float:
    """Return how many `target` one `unit` is; raises InputError where they do not fit."""
    try:
        return scale(unit, target)
    except ValueError:
        raise InputError(f'"{unit}" cannot be turned into "{target}"', key=option) from None


@dataclass(frozen=True)
class _End:
    numbers: tuple[float, ...]
    unit: str
    sign: str


def _read(text: str, option: str) -> _End:
    """One end: numbers parted by "x" or ",", the last with the unit."""
    sign = ", " if "," in text else " x "
    pieces = text.split(",") if "," in text else re.split(r"(?<=[\s\d.])[x×](?=\s*[\d.+-])", text)
    units, numbers = [], []
    for piece in pieces:
        found = _NUMBER.match(piece.strip())
        if found is None:
            raise InputError(f'"{text}" cannot be read; write a number and its unit', key=option)
        numbers.append(float(found[0]))
        units.append(piece.strip()[found.end() :].strip())
    if any(u not in ("", units[-1]) for u in units):
        raise InputError(f'"{text}" mixes units; write all its numbers in one', key=option)
    return _End(tuple(numbers), units[-1], sign)
