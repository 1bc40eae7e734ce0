"""Single figures as tables show them, and as JSON holds them."""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array


def plain(value: float | None) -> str:
    """Four digits; a dash where nothing is known."""
    return "-" if value is None else f"{value + 0.0:.4g}"  # + 0.0: no "-0"


def number(value: float) -> float | None:
    """Return a plain float, or None for what is not finite: JSON has no NaN."""
    plain = float(value)
    return plain if math.isfinite(plain) else None


def numbers(values: Array) -> list[float | None]:
    """Return a list of plain floats."""
    return [number(v) for v in np.asarray(values).tolist()]
