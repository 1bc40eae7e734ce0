"""By how much a force found may be off, in words."""

from __future__ import annotations

from collections.abc import Mapping

SMALL = 0.0015
"""A share below which a side is not worth a word."""


def reads_words(body: Mapping[str, float | None]) -> str:
    """Return "the force found reads low by up to 4 %", with both sides where both matter.

    `body` has "force_low_by_up_to" and "force_high_by_up_to"; "" where nothing is known.
    """
    low, high = body.get("force_low_by_up_to"), body.get("force_high_by_up_to")
    if low is None or high is None:
        return ""
    if low < SMALL and high < SMALL:
        return f"the force found is off by less than {percent(SMALL)}"
    if high < SMALL:
        return f"the force found reads low by up to {percent(low)}"
    if low < SMALL:
        return f"the force found reads high by up to {percent(high)}"
    return f"the force found may be {percent(low)} too low or {percent(high)} too high"


def percent(share: float) -> str:
    """Return two digits of a share in per cent; more than tenfold only as that."""
    if share > 10:
        return "more than 1000 %"
    return f"{100 * share:.2g} %" if share < 0.995 else f"{100 * share:.0f} %"
