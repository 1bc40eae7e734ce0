"""What a release comes to, in plain words: what is struck, how it ends, what is pinched."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from snapsim.simulation.closing_gaps import Closing
from snapsim.simulation.reproducibility import WITHIN, Lying, Trust
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.words.blows import as_fast, meets
from snapsim.words.trust import lying_words, shares_words

OTHERWISE = " begun a millionth otherwise"
"""Whose a figure of a twin is."""

REACTION = 0.2
"""A person's reaction to something seen [s] (from memory)."""


def strike_sentences(run: Trajectory) -> list[str]:
    """Return what is struck first, and what hardest, in the run and in its twins."""
    if not run.impacts:
        return [f"Nothing is struck within {run.time[-1]:.3g} s{_twins_strike(run)}."]
    first, hardest = run.impacts[0], max(run.impacts, key=lambda i: i.effective_energy)
    found = [
        f"The {first.body} {meets(first)} the {first.against} {_blow(run, first, 'first_blow')}."
    ]
    if hardest is not first:
        found.append(
            f"The hardest of {len(run.impacts)} blows is the {hardest.body} against the"
            f" {hardest.against}, {_blow(run, hardest, 'hardest_blow')}."
        )
    harder = _twins_strike(run)
    return [*found, f"{harder}."] if harder else found


def _twins_strike(run: Trajectory) -> str:
    """How hard twins strike where that is harder than the run does, "" where none does."""
    twins, own = run.twins, max((i.effective_energy for i in run.impacts), default=0.0)
    blows = [b for b in twins.hardest if b is not None] if twins is not None else []
    harder = [b for b in blows if b.effective_energy > (1 + WITHIN) * own]
    if twins is None or not harder:
        return ""
    worst = max(harder, key=lambda b: b.effective_energy)
    runs = f"{len(harder)} of {twins.runs - 1} runs" if twins.runs > 2 else "a run"
    whose = f"{runs}{OTHERWISE}{', or knocked slightly where it rests' if twins.tipped else ''}"
    balance = ", but it only stands balanced: in" if twins.tipped else ", but in"
    return (
        f"{f'Harder in {whose}:' if run.impacts else f'{balance} {whose},'} the {worst.body}"
        f" {meets(worst)} the {worst.against} after {_s(worst.time)} {as_fast(worst)}"
        f" {short(worst.closing_speed)} m/s with {short(worst.kinetic_energy)} J"
    )


def _blow(run: Trajectory, blow: Impact, name: str) -> str:
    low, high = (f / 1e3 for f in blow.peak_force)
    force = "" if math.isnan(high) else f", peak force {_least(low)}{short(high, 2)} kN"
    said = (
        f"after {_s(blow.time)} {as_fast(blow)} {short(blow.closing_speed)} m/s with"
        f" {short(blow.kinetic_energy)} J{force}"
    )
    twins = run.twins
    if twins is None or twins.runs < 2:
        return said
    mark = twins.trust(f"{name}.closing_speed_m_s")
    return said if mark == Trust.REPRODUCIBLE else f"{said} (a run{OTHERWISE}: not so)"


def _least(low: float) -> str:
    return "up to " if math.isnan(low) else f"{short(low, 2)} to "


def end_sentences(run: Trajectory, ends: Mapping[str, Sequence[tuple[Lying, int]]]) -> list[str]:
    """Return how each free part ended; `ends` counts the ways, in the run and its twins."""
    found = []
    for name, counted in ends.items():
        runs = sum(count for _, count in counted)
        said = lying_words(counted[0][0]) if runs == 1 else shares_words(counted, runs)
        found.append(f"The {name} ends {said}{' runs' if runs > 1 else ''}.")
    return found


def gap_sentence(closing: Closing) -> str:
    """Return how one gap closes, against a person's reaction."""
    a, b = closing.bodies
    where = f"between the {a} and the {b}" if b else f"to the {a}"
    where = f"At {closing.place} ({where})" if closing.place else where[0].upper() + where[1:]
    if all(math.isnan(t) for t in closing.closed):
        return (
            f"{where} the gap goes from {_mm(closing.start)} to {_mm(closing.least)}: no closing to"
            f" {_mm(closing.sizes[-1])} was seen, which shows no safety."
        )
    passed = [
        f"less than {_mm(size)} from the start" if time <= 0 else f"{_mm(size)} after {_s(time)}"
        for size, time in zip(closing.sizes, closing.closed, strict=True)
        if not math.isnan(time)
    ]
    shut = "" if math.isnan(closing.shut) else f", shut after {_s(closing.shut)}"
    speed = "" if math.isnan(closing.speed) else f" at {short(closing.speed)} m/s"
    return f"{where}: {', '.join(passed)}{speed}{shut}; {_reaction(closing)}{_clamp(closing)}."


def _reaction(closing: Closing) -> str:
    """The notice that a person has, against a reaction; none is called enough."""
    notice = 0.0 if math.isnan(closing.notice) else closing.notice
    if notice < REACTION:
        return f"{_s(notice)} of notice, and a person needs some {REACTION:g} s to react: no time"
    return f"of {_s(notice)} of notice a reaction takes some {REACTION:g} s, if it is seen at once"


def _clamp(closing: Closing) -> str:
    pull = "" if math.isnan(closing.pull) else f", up to {short(closing.pull)} N while it closes"
    hold = "" if math.isnan(closing.hold) else f", {short(closing.hold)} N at the end"
    return f"; pull on the {closing.bodies[0]}{pull}{hold}" if pull or hold else ""


def limit_sentences(passed: Sequence[str], rated: Sequence[str]) -> list[str]:
    """Return the limits that are passed, and the equipment that is not enough."""
    found = [f"Limit passed: {one}." for one in passed]
    return found + [f"Not enough for this: {one}." for one in rated]


def short(value: float, figures: int = 3) -> str:
    """Return a figure without powers of ten, where it is of a usual size."""
    rounded = float(f"{value:.{figures}g}")
    return f"{rounded:,.0f}" if 1e3 <= abs(rounded) < 1e7 else f"{rounded:g}"


def _mm(length: float) -> str:
    return f"{short(1e3 * length)} mm"


def _s(time: float) -> str:
    return f"{time:.2g} s" if time < 0.1 else f"{time:.3g} s"
