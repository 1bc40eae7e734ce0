"""What stands in a row of a ledger: the names of the numbers, what counts, and what is no outcome.

What counts is data (`WhatCounts`), so that a study says itself where its lines are drawn. Nothing
here computes: who reads a ledger need not load the physics that made it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

STATUSES = ("done", "untrusted", "overlap", "failed")
"""What may have become of a run."""

Measure = Literal[
    "impact_energy_J",
    "effective_energy_J",
    "speed_m_s",
    "peak_force_N",
    "clamp_force_N",
    "first_blow_s",
    "closed_25mm_s",
    "closed_100mm_s",
    "notice_25mm_s",
    "notice_100mm_s",
    "least_gap_m",
    "fixed_load_N",
    "string_load_N",
    "edge_stress",
    "chip_chance",
    "hand_blow_force_N",
    "light_blow_energy_J",
    "tiny_blow_energy_J",
    "falling_blow_energy_J",
    "clamp_down_N",
]
"""The numbers of a run, SI, the unit at the end of each name."""


@dataclass(frozen=True)
class WhatCounts:
    """Where the lines are drawn.

    `snap_energy`: a blow of a free part counts as a snap from this effective energy [J] on, where
    magnets did at least half the work behind its kinetic energy. `magnet_speed`: a magnet counts
    as struck from this closing speed [m/s] on. `table_load`: a fixed body, by name, counts as
    overloaded above this sustained force [N]; blows are left out, as they have an impulse only.
    """

    snap_energy: float = 0.1
    magnet_speed: float = 0.05
    table_load: Mapping[str, float] = field(default_factory=dict)


def nothing(status: str, reason: str) -> dict[str, Any]:
    """Return the result of a run that gave none: `status` "overlap" or "failed", and why."""
    return {"status": status, "reason": " ".join(reason.split()), "flags": {}, "measures": {}}


def is_outcome(result: dict[str, Any]) -> bool:
    """Return whether a result, read from somewhere, has what the hazard table is made of."""
    if result.get("status") not in STATUSES or not isinstance(result.get("reason"), str):
        return False
    flags, measures, hands = result["flags"], result["measures"], result.get("hands", {})
    if not all(v is None or isinstance(v, bool) for v in flags.values()):
        return False
    if result["status"] in ("done", "untrusted") and "effective_energy_J" not in measures:
        return False
    if not all(v is not None and _is_figure(v) for v in result.get("low_by", {}).values()):
        return False
    return all(_is_figure(v) for v in measures.values()) and all(
        _is_figure(h[k]) for h in hands.values() for k in ("size_m", "closed_s")
    )


def _is_figure(value: object) -> bool:
    """A finite number, or None."""
    if value is None:
        return True
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
