"""The line of a string between its two ends: straight when taut, a hanging curve when slack.

A uniform string of length L hangs as a catenary (e.g. Beer & Johnston, Vector Mechanics: Statics,
section 7.10, from memory): with horizontal span h and rise v,

    sqrt(L^2 - v^2) = 2 a sinh(h / (2 a)),    z = a cosh((x - x0)/a) + c

a [m] the catenary's parameter. Where it would hang through the ground it is laid on it.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array

POINTS = 33
TAUT = 1e-3
"""Share of its length by which the ends must be nearer than that for the string to be slack."""

NARROW = 0.03
"""Least horizontal span that is drawn, as a share of the length: a narrower loop looks like one
line, and its curve has no parameter."""


def string_line(first: Array, second: Array, length: float, ground: float) -> Array:
    """Return points (POINTS, 3) [m] from `first` to `second` (3,), none below `ground`."""
    share = np.linspace(0.0, 1.0, POINTS)
    straight: Array = first + share[:, None] * (second - first)
    if np.linalg.norm(second - first) >= (1 - TAUT) * length:
        return straight
    along = (second - first) * [1.0, 1.0, 0.0]
    span = float(np.linalg.norm(along))
    narrow = NARROW * length
    width = max(span, narrow)
    height = _catenary(width, float(second[2] - first[2]), length, share)
    line = straight.copy()
    line[:, 2] = first[2] + height
    if span < narrow:  # a loop seen from every side: bowed out, back at both ends
        side = along / span if span > 0 else np.array([1.0, 0.0, 0.0])
        bow = (narrow - span) * np.sin(np.pi * share) / 2
        line += bow[:, None] * np.array([-side[1], side[0], 0.0])
    low = min(ground, float(first[2]), float(second[2]))
    line[:, 2] = np.maximum(line[:, 2], low)
    return line


def _catenary(span: float, rise: float, length: float, share: Array) -> Array:
    """Return heights (k,) above the first end at shares (k,) of the span."""
    wanted = np.sqrt(max(length**2 - rise**2, span**2 * (1 + 1e-9))) / span

    def excess(u: float) -> float:
        return float(np.sinh(u) / u - wanted)

    u = float(brentq(excess, 1e-6, 50.0))
    a = span / (2 * u)
    # the lowest point lies where the two ends' heights differ by the rise
    x0 = span / 2 - a * np.arcsinh(rise / (2 * a * np.sinh(u)))
    height: Array = a * (np.cosh((share * span - x0) / a) - np.cosh(x0 / a))
    return height
