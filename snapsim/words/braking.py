"""What eddy currents did to a run in which conductors brake, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

LEAST = 1e-3
"""Share of the energy turned over below which braking is not worth a sentence."""


def braking_words(heat: float, turned_over: float, drifts: Sequence[Mapping[str, Any]]) -> str:
    """Return how much of the energy became Joule `heat` [J] of what was `turned_over` [J], and the
    speeds at which parts drift ("body", "speed_m_s"); "" where next to none did."""
    if not heat > LEAST * turned_over:
        return ""
    share = f"{100 * heat / turned_over:.0f} %" if turned_over > 0 else "all"
    said = (
        f"eddy currents braked: {_energy(heat)} became heat in conductors, {share} of the energy"
        " turned over"
    )
    ends = [f"{d['body']} drifts at a terminal {_speed(d['speed_m_s'])}" for d in drifts]
    return "; ".join([said, *ends])


def conductor_words(name: str, found: Mapping[str, Any]) -> str:
    """Return the line of `check` on a conductor: cells, modes and times of relaxation."""
    slowest = 1e3 * found["slowest_s"]
    return (
        f"{name}: eddy currents act, on {found['cells']} cells in {found['modes']} modes that die"
        f" away in {slowest:.2g} ms at the longest"
    )


def _energy(value: float) -> str:
    return f"{1e3 * value:.3g} mJ" if value < 0.1 else f"{value:.3g} J"


def _speed(value: float) -> str:
    return f"{1e3 * value:.3g} mm/s" if value < 0.1 else f"{value:.3g} m/s"
