"""Numbers as the page says them, and where marks stand on its rails."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

NARROW = 9.0
"""Per cent of a rail within which two flags would cover each other on a phone."""


def share(value: float, figures: int = 2) -> str:
    """Per cent with as many figures as a small chance needs."""
    percent = 100 * value
    if 0 < percent < 1:
        return f"{percent:.{figures}g}"
    return f"{percent:.0f}"


def chance_text(chance: dict[str, Any] | None) -> str:
    """A chance and its interval in words and numbers; a dash where none could be judged."""
    if not chance or chance["chance"] is None:
        return "–"
    low, high = (share(chance[k], figures=1) for k in ("low", "high"))
    return f"{share(chance['chance'])} % ({low}–{high})"


def quantity(value: float, unit: str) -> str:
    """Three figures and the unit; thousands in full, not as powers of ten."""
    shown = f"{value:.3g}" if abs(value) < 1000 else f"{float(f'{value:.3g}'):,.0f}"
    return shown if unit == "1" else f"{shown} {unit}"


class FlagChance(NamedTuple):
    """Where a bound is, in per cent of the rail, and whether its flag is raised."""

    at: float
    raised: bool


class Ladder:
    """A rail of powers of ten on which values of several rows stand below each other.

    `rungs` are names with their median, 1 in 20 (p95) and worst; `bounds` are marked across all.
    """

    def __init__(self, rungs: list[tuple[str, dict[str, float]]], bounds: list[float]) -> None:
        self.rungs, self.bounds = rungs, bounds
        spread = [q[k] for _, q in rungs for k in ("median", "worst") if q[k] > 1e-4]
        known = [math.log10(v) for v in (*bounds, *spread) if v > 0]
        self.low = math.floor(min(known, default=-1.0))
        self.high = max(math.ceil(max(known, default=1.0)), self.low + 1)

    def at(self, value: float) -> float:
        """Return the place of a value in per cent of the rail."""
        if value <= 0:
            return 0.0
        return 100 * min(max((math.log10(value) - self.low) / (self.high - self.low), 0.0), 1.0)

    @property
    def powers(self) -> list[float]:
        """The powers of ten along the rail."""
        return [10.0**p for p in range(self.low, self.high + 1)]

    @property
    def flags(self) -> list[FlagChance]:
        """A flag at each bound, raised where it would cover the last."""
        found, last, raised = [], -100.0, False
        for bound in self.bounds:
            raised = self.at(bound) - last < NARROW and not raised
            last = self.at(bound)
            found.append(FlagChance(last, raised))
        return found
