"""A range of values of one key of a scene, as people write it: "0..90 deg", "20 mm .. 60 mm".

Ends may have several numbers, "60 x 40 x 20 mm..120 x 80 x 40 mm": all go from one end to the other
together. So do several keys: "body.a.position.x=-60..-20 mm and body.b.position.x=60..20 mm".
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from snapsim.errors import InputError
from snapsim.scenario.quantities import scale

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Span:
    """Values from `low` to `high` of `key`: the numbers of either end in `unit`, parted by `sign`.

    `unit` is "" for a plain number; `along` are the ranges of further keys, gone through together.
    """

    key: str
    low: tuple[float, ...]
    high: tuple[float, ...]
    unit: str
    sign: str
    along: tuple[Span, ...] = ()

    def numbers(self, i: int, n: int) -> tuple[float, ...]:
        """Return the numbers `i` of `n` steps on the way; the ends exactly."""
        if i in (0, n):
            return self.high if i == n else self.low
        return tuple(a + (b - a) * (i / n) for a, b in zip(self.low, self.high, strict=True))

    def text(self, numbers: tuple[float, ...]) -> str:
        """Return the value as it would stand in a scene."""
        return f"{self.sign.join(repr(x) for x in numbers)} {self.unit}".strip()

    def at(self, share: float) -> tuple[float, ...]:
        """Return the numbers at a share of the way, 0 to 1."""
        return tuple(a + share * (b - a) for a, b in zip(self.low, self.high, strict=True))

    def changes(self, i: int, n: int) -> tuple[str, ...]:
        """Return what `--set` takes, a change a key, at `i` of `n` steps."""
        more = (change for other in self.along for change in other.changes(i, n))
        return (self._change(self.numbers(i, n)), *more)

    def changes_at(self, share: float) -> tuple[str, ...]:
        """Return the same at a share of the way."""
        more = (change for other in self.along for change in other.changes_at(share))
        return (self._change(self.at(share)), *more)

    def partners(self, numbers: Sequence[float]) -> list[tuple[Span, tuple[float, ...]]]:
        """Return the ranges along with this one, and their numbers where it has `numbers`."""
        k = self.shown
        share = (numbers[k] - self.low[k]) / (self.high[k] - self.low[k])
        return [(other, other.at(share)) for other in self.along]

    def _change(self, numbers: tuple[float, ...]) -> str:
        value = self.text(numbers)
        return f'{self.key}="{value}"' if self.unit else f"{self.key}={value}"

    @property
    def shown(self) -> int:
        """Which number a plot shows: the first that changes."""
        return next(k for k, (a, b) in enumerate(zip(self.low, self.high, strict=True)) if a != b)


def read_span(text: str, option: str) -> Span:
    """Return the range of "KEY=FROM..TO", or of several joined by "and"; raises InputError naming
    the option."""
    first, *more = (_read_one(piece, option) for piece in _pieces(text))
    keys = [first.key, *(s.key for s in more)]
    if len(set(keys)) < len(keys):
        raise InputError(f'"{text}" has a key twice', key=option)
    return replace(first, along=tuple(more))


def _pieces(text: str) -> list[str]:
    """The ranges joined by "and", which may be part of a name before the sign."""
    found: list[str] = []
    for piece in re.split(r"\s+and\s+", text):
        if found and "=" not in found[-1]:
            found[-1] += f" and {piece}"
        else:
            found.append(piece)
    return found


def _read_one(text: str, option: str) -> Span:
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
