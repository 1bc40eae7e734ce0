"""Single figures as tables show them."""

from __future__ import annotations


def plain(value: float | None) -> str:
    """Four digits; a dash where nothing is known."""
    return "-" if value is None else f"{value + 0.0:.4g}"  # + 0.0: no "-0"
