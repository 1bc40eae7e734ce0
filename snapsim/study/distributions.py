"""How an uncertain value is spread: from a share u in (0, 1) to the value (inverse transform).

A distribution's numbers carry one unit: "30 deg". Lists hold any values of a scene. Source of the
quantile functions: `scipy.stats`.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Annotated, Any, Self

import numpy as np
from pydantic import BeforeValidator, Field, model_validator
from scipy import stats

from snapsim.scenario.fields import Flag, Number, Table, number_or_text
from snapsim.scenario.quantities import LONGEST

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")

Value = Annotated[int | float | str, BeforeValidator(number_or_text)]


class Distribution(Table):
    """One entry of [vary]: exactly one of uniform, normal, triangular, values.

    `between` cuts a normal distribution off. With `relative` the numbers have no unit and multiply
    what the scene says (of a magnetisation curve, its polarisation B - mu_0 H).
    """

    uniform: tuple[Value, Value] | None = Field(None, description="lowest and highest")
    normal: tuple[Value, Value] | None = Field(None, description="mean and standard deviation")
    triangular: tuple[Value, Value, Value] | None = Field(
        None, description="lowest, most likely, highest"
    )
    values: Annotated[list[Any], Field(min_length=1)] | None = Field(
        None, description="any values, each equally likely or with its weight"
    )
    weights: list[Annotated[Number, Field(gt=0)]] | None = Field(
        None, description="shares of the values, any scale"
    )
    between: tuple[Value, Value] | None = Field(None, description="bounds of a normal one")
    relative: Flag = Field(False, description="numbers multiply the scene's value")

    @model_validator(mode="after")
    def _one_of_them(self) -> Self:
        given = [k for k in ("uniform", "normal", "triangular", "values") if getattr(self, k)]
        if len(given) != 1:
            raise ValueError(
                "needs exactly one of uniform, normal, triangular, values; it has "
                + (" and ".join(given) or "none")
            )
        if self.weights is not None and len(self.weights) != len(self.values or ()):
            raise ValueError("has weights that do not match values; give one weight a value")
        if self.between is not None and self.normal is None:
            raise ValueError("has between, which only a normal distribution takes")
        if self.values is None:
            self._check_numbers()
        return self

    @property
    def unit(self) -> str:
        """The unit its numbers are given in; "" for plain numbers and lists."""
        return _parted(self._numbers()[0])[1] if self.values is None else ""

    def at(self, share: float) -> Any:
        """Return the number, in `unit`, or the value of a list, at the share (0, 1)."""
        if self.values is not None:
            weights = np.array(self.weights or [1.0] * len(self.values))
            edges = np.cumsum(weights) / weights.sum()
            return self.values[min(int(np.searchsorted(edges, share)), len(self.values) - 1)]
        return float(self._frozen().ppf(share))

    def _frozen(self) -> Any:
        kind = next(k for k in ("uniform", "triangular", "normal") if getattr(self, k))
        return _spread(
            kind, tuple(self._of(getattr(self, kind))), tuple(self._of(self.between or ()))
        )

    def _numbers(self) -> tuple[Value, ...]:
        given = self.uniform or self.normal or self.triangular or ()
        return (*given, *(self.between or ()))

    @staticmethod
    def _of(values: tuple[Value, ...]) -> list[float]:
        return [_parted(v)[0] for v in values]

    def _check_numbers(self) -> None:
        units = {_parted(v)[1] for v in self._numbers()}
        if len(units) > 1:
            raise ValueError('has several units; give all its numbers in one, like "5 mm", "9 mm"')
        if self.relative and units != {""}:
            raise ValueError("is relative: write plain numbers, which multiply the scene's value")
        for name in ("uniform", "triangular", "between"):
            numbers = self._of(getattr(self, name) or ())
            if numbers and (sorted(numbers) != numbers or numbers[0] == numbers[-1]):
                raise ValueError(f"has {name} out of order; give the lowest first")
        if self.normal is not None and not self._of(self.normal)[1] > 0:
            raise ValueError("has a standard deviation that is not greater than 0")


@lru_cache(maxsize=256)
def _spread(kind: str, numbers: tuple[float, ...], between: tuple[float, ...]) -> Any:
    """The distribution of `scipy.stats`; making one takes longer than asking it."""
    if kind == "uniform":
        low, high = numbers
        return stats.uniform(low, high - low)
    if kind == "triangular":
        low, mode, high = numbers
        return stats.triang((mode - low) / (high - low), low, high - low)
    mean, spread = numbers
    if not between:
        return stats.norm(mean, spread)
    low, high = between
    return stats.truncnorm((low - mean) / spread, (high - mean) / spread, mean, spread)


def _parted(value: Value) -> tuple[float, str]:
    """A number and its unit."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f'{value!r} is no number; write 0.3, or "5 mm"')
    if not isinstance(value, str):
        return float(value), ""
    match = _QUANTITY.fullmatch(value) if len(value) <= LONGEST else None
    if match is None:
        raise ValueError(f'"{value[:LONGEST]}" is no number with a unit; write "5 mm"')
    if not math.isfinite(float(match[1])):
        raise ValueError(f'"{value}" is not finite; a finite number is needed')
    return float(match[1]), match[2]
