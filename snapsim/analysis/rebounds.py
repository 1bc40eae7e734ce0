"""What a restitution from materials comes to, said before anything is released."""

from __future__ import annotations

from itertools import combinations
from typing import Any, Final

from snapsim.analysis.figures import number
from snapsim.mechanics.material_restitution import restitution_band
from snapsim.parts.bodies import Body
from snapsim.simulation.system import System

SPEEDS: Final = (0.1, 1.0, 3.0)
"""Closing speeds [m/s] of which it is said."""


def restitutions(system: System) -> list[dict[str, Any]]:
    """Return, for each pair whose restitution is that of its materials, the restitution of straight
    blows at `SPEEDS`, with what hardness and rounding leave open."""
    bodies = system.bodies
    return [
        _of_pair(bodies[b], bodies[a])
        for a, b in combinations(range(len(bodies)), 2)
        if system.surfaces.pair(a, b).of_materials and not (bodies[a].fixed and bodies[b].fixed)
    ]


def _of_pair(one: Body, two: Body) -> dict[str, Any]:
    mass = 1.0 / sum(1.0 / b.mass for b in (one, two) if not b.fixed)
    bands = [restitution_band(one, two, mass, speed) for speed in SPEEDS]
    low, middle, high = ([number(band[k]) for band in bands] for k in range(3))
    return {
        "between": [one.name, two.name],
        "speed_m_s": list(SPEEDS),
        "restitution": middle,
        "low": low,
        "high": high,
    }


def restitution_lines(found: list[dict[str, Any]]) -> list[str]:
    """Return a line a pair of `restitutions`."""
    lines = []
    for pair in found:
        figures = zip(
            pair["restitution"], pair["low"], pair["high"], pair["speed_m_s"], strict=True
        )
        said = ", ".join(f"{e:.2f} ({a:.2f} to {b:.2f}) at {v:g} m/s" for e, a, b, v in figures)
        one, two = pair["between"]
        lines.append(
            f"restitution from materials, {one} on {two}: {said}; thin or ringing parts, tape and"
            " coating keep less"
        )
    return lines
