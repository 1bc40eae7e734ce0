"""What one run of a study came to: flags of what counts, and the numbers a ranking needs.

A run becomes one small dict of plain values, the same to the last digit each time it is computed:
a row of a ledger (`outcome_row`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from snapsim.analysis.figures import number
from snapsim.analysis.summary import summary
from snapsim.arrays import Array
from snapsim.mechanics.chipping import together
from snapsim.simulation.closing_gaps import FINGER_GAP, HAND_GAP, closes_at, notice_of
from snapsim.simulation.hands import Gaps, hand_gaps
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.study.outcome_row import WhatCounts
from snapsim.words.endings import ending_words

LIGHT = 0.13
"""Effective mass [kg] up to which a blow is like one of EN 166's 43 g ball (our choice: thrice)."""

TINY = 2.6e-3
"""The same for the 0.87 g ball of ISO 16321-1."""

HAND_MASS, HAND_STIFFNESS = 0.6, 75e3
"""A hand's effective mass [kg] and stiffness [N/m]: ISO/TS 15066:2016, table A.3 (from memory)."""

TOUCHING = 1e-3
"""A part whose gap to a magnet ends below this [m] is clamped there by the pull it then has."""


def outcome_of(run: Trajectory, counts: WhatCounts | None = None) -> dict[str, Any]:
    """Return flags and measures of a run; SI, plain values, None where there is nothing to say.

    "flags": snap, pinch (the gap at a [[hand]] closed to its size; None without hands),
    magnet_struck, string_broken (None without strings), table_overloaded (None
    without limits). "measures": the worst blow's impact_energy_J, effective_energy_J, speed_m_s and
    peak_force_N (upper bound), of all blows; clamp_force_N; first_blow_s; closed_25mm_s and
    closed_100mm_s, when the gap to a magnet has closed to that, and notice_25mm_s, notice_100mm_s,
    for how long one could see that coming; least_gap_m; fixed_load_N, string_load_N; edge_stress,
    the upper bound as a share of the magnet's strength; chip_chance, the largest that any of the
    blows chips a magnet; and those that some limits are made for.
    "low_by": the shares by which some of these may be too low by the run's cells. A run that is not
    to be trusted has the "status" "untrusted", and its flags are up or not known, never down.
    """
    whole = summary(run)
    hands = {g.hand.name: _at_hand(run, g) for g in hand_gaps(run)}
    return {
        "status": "untrusted" if run.outcome == "untrusted" else "done",
        "outcome": run.outcome,
        "reason": ending_words(run.ending),
        "reason_code": run.reason,
        "simulated_s": whole["simulated_s"],
        "flags": _flags(run, counts or WhatCounts(), hands),
        "measures": measures_of(run),
        "low_by": low_by(run),
        "hands": hands,
        "first_blow": whole["impacts"][0] if whole["impacts"] else None,
        "bodies": whole["bodies"],
        **_computed(run, whole),
    }


def _computed(run: Trajectory, whole: dict[str, Any]) -> dict[str, Any]:
    """How well a run was computed, and what it took."""
    return {
        "unaccounted_fraction": whole["energy"]["unaccounted_fraction"],
        "unconverged_evaluations": whole["accuracy"].get("unconverged_evaluations"),
        "evaluations": run.cost.field_evaluations,
    }


def struck_magnet(run: Trajectory, impact: Impact) -> bool:
    """Return whether a blow is one on, or of, a magnet."""
    magnets = {b.name for b in run.system.bodies if b.is_magnet}
    return impact.body in magnets or impact.against in magnets


def _at_hand(run: Trajectory, gaps: Gaps) -> dict[str, float | None]:
    """When the gap closed to the hand's size [s], the gap at release and the least one [m]."""
    closed = closes_at(run.time, gaps.gap, gaps.hand.gap)
    return {
        "size_m": number(gaps.hand.gap),
        "start_m": number(gaps.gap[0]),
        "least_m": _least(gaps.gap),
        "closed_s": number(closed),
    }


def _flags(
    run: Trajectory, lines: WhatCounts, hands: Mapping[str, Mapping[str, float | None]]
) -> dict[str, bool | None]:
    strings = [j.name for j in run.system.joints if j.slack is not None]
    flags = {
        "snap": any(_is_snap(run, i, lines.snap_energy) for i in run.impacts),
        "pinch": any(h["closed_s"] is not None for h in hands.values()) if hands else None,
        "magnet_struck": any(
            struck_magnet(run, i) and i.closing_speed >= lines.magnet_speed for i in run.impacts
        ),
        "string_broken": any(not math.isnan(run.loads[s].parted) for s in strings)
        if strings
        else None,
        "table_overloaded": any(
            run.loads[name].peak_force > most for name, most in lines.table_load.items()
        )
        if lines.table_load
        else None,
    }
    if run.outcome == "untrusted":  # what it shows may count, what it does not show may not
        return {flag: value or None for flag, value in flags.items()}
    return flags


def _is_snap(run: Trajectory, impact: Impact, least: float) -> bool:
    """A blow with energy behind it that came from the magnets, not from a fall."""
    if impact.effective_energy < least:
        return False
    before = int(np.searchsorted(run.time, impact.time, side="left"))
    work = float(run.work["field"][min(before, len(run.time) - 1)])
    return work >= 0.5 * impact.kinetic_energy


def measures_of(run: Trajectory) -> dict[str, float | None]:
    """Return the measures of a run, by the names of `Measure`."""
    strings = [j.name for j in run.system.joints if j.slack is not None]
    fixed = [b.name for b in run.system.bodies if b.fixed]
    return {
        **_of_blows(run, run.impacts),
        "clamp_force_N": number(clamp_force(run)),
        "first_blow_s": number(run.impacts[0].time) if run.impacts else None,
        "closed_25mm_s": number(closes_at(run.time, run.gap, FINGER_GAP)),
        "closed_100mm_s": number(closes_at(run.time, run.gap, HAND_GAP)),
        "notice_25mm_s": number(notice_of(run.time, run.gap, FINGER_GAP)),
        "notice_100mm_s": number(notice_of(run.time, run.gap, HAND_GAP)),
        "least_gap_m": _least(run.gap),
        "fixed_load_N": _most([run.loads[name].peak_force for name in fixed]),
        "string_load_N": _most([run.loads[name].peak_force for name in strings]),
        "clamp_down_N": number(_clamp_down(run, _up(run))),
    }


def measures_of_twins(run: Trajectory) -> dict[str, float | None]:
    """Return the measures of the hardest blows of a run's twins; empty where they have none."""
    twins = run.twins
    blows = [] if twins is None else [blow for blow in twins.hardest if blow is not None]
    return _of_blows(run, blows) if blows else {}


def _of_blows(run: Trajectory, blows: Sequence[Impact]) -> dict[str, float | None]:
    """The measures of blows, and those that only some kinds of blow have."""
    return {
        "impact_energy_J": _most([i.kinetic_energy for i in blows]),
        "effective_energy_J": _most([i.effective_energy for i in blows]),
        "speed_m_s": _most([i.closing_speed for i in blows]),
        "peak_force_N": _most([i.peak_force[1] for i in blows]),
        "edge_stress": _most([i.edge_stress[1] / i.magnet_strength for i in blows]),
        "chip_chance": number(together(i.chipping for i in blows)[2]),
        "hand_blow_force_N": _most([hand_blow_force(i) for i in blows]),
        "light_blow_energy_J": _energy(i for i in blows if i.effective_mass <= LIGHT),
        "tiny_blow_energy_J": _energy(i for i in blows if i.effective_mass <= TINY),
        "falling_blow_energy_J": _energy(i for i in blows if i.normal @ _up(run) > 0.5),
    }


def _up(run: Trajectory) -> Array:
    up: Array = -run.system.gravity / max(float(np.linalg.norm(run.system.gravity)), 1e-300)
    return up


def _energy(blows: Iterable[Impact]) -> float | None:
    return _most([i.effective_energy for i in blows])


def hand_blow_force(blow: Impact) -> float:
    """Return the peak force [N] of a blow had it met a hand: F = v sqrt(mu k).

    mu is the reduced mass of blow and hand (ISO/TS 15066:2016, A.3.5, from memory).
    """
    reduced = 1.0 / (1.0 / blow.effective_mass + 1.0 / HAND_MASS)
    return blow.closing_speed * math.sqrt(reduced * HAND_STIFFNESS)


def _clamp_down(run: Trajectory, up: Array) -> float:
    """The clamp force of a part that is pulled down at the end; nan where none is."""
    force = clamp_force(run)
    free = [i for i, b in enumerate(run.system.bodies) if not b.fixed]
    if not force > 0.0:
        return math.nan
    strongest = free[int(np.linalg.norm(run.force[-1, free], axis=1).argmax())]
    return force if float(run.force[-1, strongest] @ up) < 0.0 else math.nan


def low_by(run: Trajectory) -> dict[str, float]:
    """Return by which share of itself each measure of the worst blow may be too low.

    What the cells leave out (`run.blow_error`); the other measures have no such number.
    """
    if not run.impacts:
        return {}
    hardest = max(run.impacts, key=lambda i: i.kinetic_energy)
    found = {
        "impact_energy_J": ("kinetic_energy", "J", hardest.kinetic_energy),
        "effective_energy_J": ("effective_energy", "J", hardest.effective_energy),
        "speed_m_s": ("speed", "m_s", hardest.closing_speed),
    }
    shares = {}
    for measure, (name, unit, value) in found.items():
        limit = run.accuracy.get(f"hardest_impact_{name}_{unit}")
        error = run.accuracy.get(f"hardest_impact_{name}_error_{unit}")
        if limit is not None and error is not None and value > 0:
            shares[measure] = max((float(limit) + float(error)) / value - 1, 0.0)
    like = {"hand_blow_force_N": "speed_m_s"}
    like |= {f"{kind}_blow_energy_J": "effective_energy_J" for kind in ("light", "tiny", "falling")}
    return shares | {measure: shares[one] for measure, one in like.items() if one in shares}


def clamp_force(run: Trajectory) -> float:
    """Return the magnetic force on the most strongly held free body at the end of the run [N].

    Zero unless a part then lies within `TOUCHING` of a magnet; nan without a magnet.
    """
    if not np.isfinite(run.gap[-1]):
        return math.nan
    if run.gap[-1] > TOUCHING:
        return 0.0
    free = [i for i, b in enumerate(run.system.bodies) if not b.fixed]
    return float(np.linalg.norm(run.force[-1, free], axis=1).max())


def _most(values: list[float]) -> float | None:
    known = [v for v in values if math.isfinite(v)]
    return float(max(known)) if known else None


def _least(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.min()) if len(known) else None
