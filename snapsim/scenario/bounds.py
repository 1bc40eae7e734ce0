"""Sizes and speeds that a scene may have: what the motion can be computed for.

Contacts are known to a micrometre and rigid bodies are no model of dust or of bullets. Beyond
these bounds runs hung or parts passed through each other, so such scenes are refused in one line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from snapsim.errors import InputError, label
from snapsim.parts.bodies import Body
from snapsim.parts.states import State

THINNEST: Final = 20e-6
"""Least thickness of a body [m]: twenty times what contacts are known to."""

LARGEST: Final = 100.0
"""Greatest length of a body [m]."""

RATIO: Final = 1e6
"""Of the greatest length in a scene to the least thickness."""

FARTHEST: Final = 1000.0
"""Of a body from the origin, each way [m]: places keep 1e-13 m."""

FASTEST: Final = 1000.0
"""Of a body's centre and of its turning surface [m/s]: impacts beyond are no rigid bodies'."""


def check_bounds(bodies: Sequence[Body], start: State, file: str) -> None:
    """Raise InputError, with what is allowed, for a body out of bounds."""
    for i, body in enumerate(bodies):
        key = f"body.{label(body.name)}"
        sizes = 2 * body.shape.extents
        _within(sizes.min(), THINNEST, LARGEST, "m thick", f"{key}.shape", file)
        _within(sizes.max(), THINNEST, LARGEST, "m long", f"{key}.shape", file)
        place = float(np.abs(start.pose.position[i]).max())
        _within(place, 0.0, FARTHEST, "m from the origin", f"{key}.position", file)
        speed = float(np.linalg.norm(start.velocity[i]))
        _within(speed, 0.0, FASTEST, "m/s fast", f"{key}.velocity", file)
        rim = float(np.linalg.norm(start.spin[i]) * np.linalg.norm(body.shape.extents))
        _within(rim, 0.0, FASTEST, "m/s fast at its rim", f"{key}.spin", file)
    _check_ratio(bodies, file)


def _within(value: float, low: float, high: float, what: str, key: str, file: str) -> None:
    if not low * (1 - 1e-9) <= value <= high * (1 + 1e-9):
        raise InputError(
            f"is {value:.3g} {what}; allowed are {low:g} to {high:g}", file=file, key=key
        )


def _check_ratio(bodies: Sequence[Body], file: str) -> None:
    thin = min(bodies, key=lambda b: b.shape.extents.min())
    long = max(bodies, key=lambda b: b.shape.extents.max())
    ratio = float(long.shape.extents.max() / thin.shape.extents.min())
    if ratio > RATIO * (1 + 1e-9):
        raise InputError(
            f'is {ratio:.3g} times thinner than "{long.name}" is long; allowed are {RATIO:g} times',
            file=file,
            key=f"body.{label(thin.name)}.shape",
        )
