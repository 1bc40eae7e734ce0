"""The marks of the page: tracks, ladders, tiles; HTML that stays readable on a phone."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

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


def chance_line(name: str, chance: dict[str, Any]) -> str:
    """A track from 0 to 100 % with the interval and the chance on it."""
    track = ""
    if chance["chance"] is not None:
        low, high = 100 * chance["low"], 100 * chance["high"]
        track = (
            f"<i class='span' style='left:{low:.2f}%;width:{high - low:.2f}%'></i>"
            f"<i class='spot' style='left:{100 * chance['chance']:.2f}%'></i>"
        )
    return (
        f"<div class='chance'><span>{escape(name.replace('_', ' '))}</span>"
        f"<div class='track'>{track}</div>"
        f"<span class='said'>{escape(chance_text(chance))}</span></div>"
    )


def filled(part: float) -> str:
    """A track filled from the left by a share."""
    return f"<div class='track'><i class='fill' style='width:{100 * part:.2f}%'></i></div>"


def weight(part: float, signed: bool) -> str:
    """A track with a bar from its left end, or to either side of its middle."""
    size = min(abs(part), 1.0)
    if not signed:
        return (
            f"<div class='track'><i class='forth' style='left:0;width:{100 * size:.1f}%'></i></div>"
        )
    left = 50 - 50 * size if part < 0 else 50
    kind = "back" if part < 0 else "forth"
    bar = f"<i class='{kind}' style='left:{left:.1f}%;width:{50 * size:.1f}%'></i>"
    return f"<div class='track'>{bar}<i class='middle'></i></div>"


def tile(value: str, what: str, hot: bool = False) -> str:
    """A number and what it is."""
    kind = "tile hot" if hot else "tile"
    return f"<div class='{kind}'><b>{escape(value)}</b><span>{escape(what)}</span></div>"


def table(head: Sequence[str], body: Iterable[Sequence[str]]) -> str:
    """A table; all columns but the first are numbers."""
    top = "".join(f"<th{_numeric(i)}>{escape(h)}</th>" for i, h in enumerate(head))
    rows = "".join(
        "<tr>" + "".join(f"<td{_numeric(i)}>{escape(c)}</td>" for i, c in enumerate(row)) + "</tr>"
        for row in body
    )
    return f"<div class='scroll'><table><tr>{top}</tr>{rows}</table></div>"


def _numeric(column: int) -> str:
    return " class='n'" if column else ""


class Ladder:
    """A rail of powers of ten on which values of several rows stand below each other."""

    def __init__(self, values: Iterable[float]) -> None:
        known = [math.log10(v) for v in values if v > 0]
        self.low = math.floor(min(known, default=-1.0))
        self.high = max(math.ceil(max(known, default=1.0)), self.low + 1)

    def at(self, value: float) -> float:
        """Return the place of a value in per cent of the rail."""
        if value <= 0:
            return 0.0
        return 100 * min(max((math.log10(value) - self.low) / (self.high - self.low), 0.0), 1.0)

    def scale(self, unit: str) -> str:
        """The rail with its powers of ten."""
        powers = range(self.low, self.high + 1)
        marks = [
            f"<span style='left:{self.at(10.0**p):.2f}%'>{10.0**p:g}"
            f"{escape(' ' + unit) if p == self.high else ''}</span>"
            for p in powers
        ]
        return _rung("", f"<div class='rail scale'>{''.join(marks)}</div>", "rung bare")

    def flags(self, bounds: Sequence[float]) -> str:
        """The rail with a numbered flag at each bound, raised where it would cover the last."""
        marks, last, raised = [], -100.0, False
        for k, b in enumerate(bounds, 1):
            raised = self.at(b) - last < NARROW and not raised
            last = self.at(b)
            kind = " class='up'" if raised else ""
            marks.append(f"<span{kind} style='left:{last:.2f}%'>{k}</span>")
        return _rung("", f"<div class='rail flags'>{''.join(marks)}</div>", "rung bare")

    def rung(self, name: str, spread: dict[str, float], bounds: Sequence[float]) -> str:
        """The rail with one row's median, 1 in 20 and worst."""
        ticks = "".join(
            f"<i class='tick' style='left:{self.at(10.0**p):.2f}%'></i>"
            for p in range(self.low, self.high + 1)
        )
        dashes = "".join(f"<i class='bound' style='left:{self.at(b):.2f}%'></i>" for b in bounds)
        left, right = self.at(spread["median"]), self.at(spread["worst"])
        marks = f"<i class='reach' style='left:{left:.2f}%;width:{right - left:.2f}%'></i>"
        for kind in ("median", "worst", "p95"):
            marks += f"<i class='{kind}' style='left:{self.at(spread[kind]):.2f}%'></i>"
        return _rung(escape(name), f"<div class='rail'>{ticks}{dashes}{marks}</div>")


def _rung(name: str, rail: str, kind: str = "rung") -> str:
    return f"<div class='{kind}'><div class='name'>{name}</div>{rail}</div>"
