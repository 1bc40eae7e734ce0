"""Checks that several shapes share."""

from __future__ import annotations

import math


def not_positive(length: float) -> list[str]:
    """Return a complaint unless `length` [m] is finite and above zero."""
    if math.isfinite(length) and length > 0:
        return []
    return [f"is {length:g} m; a length must be finite and greater than 0"]
