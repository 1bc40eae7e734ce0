"""The figures beside the picture, as a viewer reads them: one unit each for the whole clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.render.interpolation import Moment
from snapsim.simulation.reproducibility import Twins
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.words.blows import as_fast, meets
from snapsim.words.trust import by_chance, mark_of

IMPACT_WORTH = 0.05  # share of the strongest blow's energy below which a blow is not announced


@dataclass(frozen=True)
class Reading:
    """A figure: what it is, its number and its unit."""

    label: str
    number: str
    unit: str


@dataclass(frozen=True)
class Scales:
    """Units and decimals, chosen once: energy and gap as (factor from SI, unit, decimals)."""

    energy: tuple[float, str, int]
    gap: tuple[float, str, int]
    time_decimals: int
    several: bool


def choose_scales(runs: Sequence[Trajectory], slow_motion: float) -> Scales:
    """Return the units that suit the largest values of runs that are shown together."""
    energy = max(float(np.nanmax(run.energy["kinetic"], initial=0.0)) for run in runs)
    free = max(sum(not body.fixed for body in run.system.bodies) for run in runs)
    return Scales(
        energy=(1.0, "J", 2) if energy >= 0.5 else (1e3, "mJ", 1 if energy >= 5e-3 else 3),
        gap=(1e3, "mm", 1),
        time_decimals=4 if slow_motion > 20 else 3,
        several=free > 1,
    )


def readings(
    moment: Moment, part: int | None, scales: Scales, twins: Twins | None = None
) -> list[Reading]:
    """Return time, speed of body number `part`, kinetic energy and gap, in this order; marked where
    the run's twins had parted."""
    mark = mark_of(twins, moment.time)
    speed = float(np.linalg.norm(moment.velocity[part])) if part is not None else 0.0
    factor, unit, decimals = scales.energy
    gap_factor, gap_unit, gap_decimals = scales.gap
    gap = gap_factor * max(moment.gap, 0.0)  # touching bodies may overlap by a micrometre
    return [
        Reading(
            f"time{by_chance(twins, moment.time)}", f"{moment.time:.{scales.time_decimals}f}", "s"
        ),
        Reading("speed of its centre", f"{speed:.2f}{mark}", "m/s"),
        Reading(
            "kinetic energy" + (", all" if scales.several else ""),
            f"{factor * moment.kinetic:.{decimals}f}{mark}",
            unit,
        ),
        Reading(
            "gap to magnet", f"{gap:.{gap_decimals}f}{mark}" if np.isfinite(gap) else "–", gap_unit
        ),
    ]


def first_blow(trajectory: Trajectory) -> Impact | None:
    """Return the first blow worth announcing: a part that turns may brush its support before."""
    least = IMPACT_WORTH * max((i.effective_energy for i in trajectory.impacts), default=0.0)
    return next((i for i in trajectory.impacts if i.effective_energy >= least), None)


def impact_line(impact: Impact, twins: Twins | None = None) -> str:
    """Return the announcement of a blow: who struck what, how fast, with what energy; and where the
    run's twins had parted, that it is one of several courses."""
    energy = max(impact.kinetic_energy, impact.effective_energy)  # of two that move: of both
    figure = f"{energy:.2f} J" if energy >= 0.5 else f"{1e3 * energy:.1f} mJ"
    speed = f"{impact.closing_speed:.2f} m/s"
    speed = f"{as_fast(impact)} {speed}" if impact.jammed else f"{speed} where they meet"
    chance = by_chance(twins, impact.time)
    return f"{impact.body} {meets(impact)} {impact.against}: {speed}, {figure}{chance}"
