"""Frames a second, exactly: whole numbers, and the fractions that broadcast uses.

29.97 stands for 30000/1001 and so on: SMPTE ST 12-1:2014, where the nominal rate is divided by
1.001 (from memory).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from snapsim.errors import InputError

Rate = int | Fraction

BROADCAST: Final = {
    "23.976": Fraction(24000, 1001),
    "23.98": Fraction(24000, 1001),
    "29.97": Fraction(30000, 1001),
    "47.952": Fraction(48000, 1001),
    "59.94": Fraction(60000, 1001),
    "119.88": Fraction(120000, 1001),
}
TICKS: Final = 1000
"""Time units a frame, at a whole rate."""


def rate_of(text: str, key: str) -> Rate:
    """Return the rate that a text means; raises InputError naming `key`."""
    number = text.strip()
    if number in BROADCAST:
        return BROADCAST[number]
    try:
        rate = Fraction(number)
    except (ValueError, ZeroDivisionError):
        rate = Fraction(0)
    if rate in BROADCAST.values():
        return rate
    if rate.denominator != 1 or not 1 <= rate <= 240:
        allowed = ", ".join(n for n in BROADCAST if n != "23.98")
        raise InputError(
            f'"{text}" is no rate; write a whole number of 1 to 240, or one of {allowed}', key=key
        )
    return int(rate)


def timescale(rate: Rate) -> int:
    """Return time units a second in which every frame of a clip begins on a whole one."""
    return rate.numerator * (TICKS if rate.denominator == 1 else 1)
