"""What eddy currents did to a run: parts that drift at a terminal speed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.run.blow_error import hardest_of
from snapsim.simulation.trajectory import Trajectory

LASTS: Final = 0.1
"""Share of a run's time over which a speed must stay what it is."""

EVEN: Final = 0.03
"""Share of itself by which it may change in that time."""

HEATED: Final = 0.2
"""Heat over the work of weight along the whole way: less, and the part drifts by something else."""

STRETCH: Final = (0.01, 0.98)
"""Shares of all the heat between which currents count as braking."""

MOST: Final = 0.6
"""Share of the kinetic energy that they take then, and of what is lost that becomes heat."""

STILL: Final = 1e-4
"""Speed [m/s] below which a part counts as at rest."""


DOUBT: Final = 0.06
"""Share to which braking is known at best: drag over a sheet within 5 %, in a tube 4 %."""

BEYOND: Final = 0.03
"""Share by which what bounds the braking from its cells may itself be off: chords for circles take
up to 2.3 %."""


def braking_doubt(run: Trajectory, share: float = DOUBT) -> Array:
    """Return by how much the kinetic energy may be off at the frames (k,) [J] for the braking.

    Of K' = F v - P, with P the power that becomes heat, a share e of P too much or too little makes
    d' = e P - d P/(2 K): while little is lost it adds up, at a terminal speed it is 2 e K.
    """
    found = np.zeros(len(run.time))
    if "joule_heat" not in run.energy:
        return found
    heat = np.maximum(np.diff(run.energy["joule_heat"]), 0.0)
    kinetic = run.energy["kinetic"]
    for k, gained in enumerate(heat):
        lost = gained / max(kinetic[k] + kinetic[k + 1], 1e-300)
        kept = float(np.exp(-lost))
        mean = (1 - kept) / lost if lost > 1e-9 else 1.0
        found[k + 1] = found[k] * kept + share * gained * mean
    return found


def cells_doubt(coarse: float) -> float:
    """Return the share to which braking is known that may be too little by a share `coarse` of it
    for its cells (`coarse_currents`)."""
    return max(DOUBT, coarse + BEYOND)


def with_braking_doubt(run: Trajectory, errors: Mapping[str, float]) -> dict[str, float]:
    """Return the errors of the first and of the hardest blow with what the braking leaves open.

    Without iron they have none else, and their values are the run's own. "coarse_share" says by
    what share of itself the braking may be too little for the conductors' cells. Conductors that
    move relative to each other leave open what their currents do in each other: "unjoined_share"
    says what share of the braking that may be, and "iron_share" what share the field of iron may
    change.
    """
    found = dict(errors)
    if not run.currents:
        return found
    from snapsim.simulation.coarse_currents import coarse_share
    from snapsim.simulation.eddy_loss import iron_share
    from snapsim.simulation.unjoined_currents import unjoined_share

    coarse = coarse_share(run)
    found["coarse_share"] = coarse
    unjoined = unjoined_share(run)
    if unjoined > 0:
        found["unjoined_share"] = unjoined
    iron = iron_share(run)
    if iron:
        found["iron_share"] = iron
    if not run.impacts:
        return found
    doubt = braking_doubt(run, cells_doubt(coarse) + unjoined + iron)
    for name, blow in (("first_impact", run.impacts[0]), ("hardest_impact", hardest_of(run))):
        k = min(int(np.searchsorted(run.time, blow.time)), len(run.time) - 1)
        own = blow.kinetic_energy
        share = float(doubt[k]) / own if own > 0 else 0.0
        for key, unit, value, factor in (
            ("kinetic_energy", "J", own, 1.0),
            ("effective_energy", "J", blow.effective_energy, 1.0),
            ("speed", "m_s", blow.closing_speed, 0.5),
        ):
            known = found.setdefault(f"{name}_{key}_{unit}", value)
            error = found.get(f"{name}_{key}_error_{unit}", 0.0)
            found[f"{name}_{key}_error_{unit}"] = error + factor * share * known
    return found


def drifting(run: Trajectory) -> list[dict[str, Any]]:
    """Return parts that eddy currents hold at an even speed for a tenth of the run or more: "body",
    "speed_m_s", its least and most meanwhile, and "from_s", "to_s" when."""
    if not run.currents:
        return []
    found = [_drift(run, i) for i, b in enumerate(run.system.bodies) if not b.fixed]
    return [one for one in found if one is not None]


def braked(run: Trajectory) -> dict[str, Any] | None:
    """Return over which time eddy currents turned most of what moved into heat: "from_s", "to_s",
    and the "share" of the kinetic energy at its begin that was gone at its end; None where they
    did not, or where parts drift at an even speed. Of several moving parts "body" is the one that
    had most."""
    if not run.currents or drifting(run) or len(run.time) < 3:
        return None
    heat, kinetic = run.energy["joule_heat"], run.energy["kinetic"]
    begin, end = (int(np.searchsorted(heat, share * heat[-1])) for share in STRETCH)
    lost = float(kinetic[begin] - kinetic[end])
    became = float(heat[end] - heat[begin])
    if not (end > begin and lost > MOST * kinetic[begin] > 0 and became > MOST * lost):
        return None
    free = [i for i, b in enumerate(run.system.bodies) if not b.fixed]
    most = max(free, key=lambda i: _kinetic(run, i, begin))
    return {
        "body": run.system.bodies[most].name,
        "from_s": float(run.time[begin]),
        "to_s": float(run.time[end]),
        "share": lost / float(kinetic[begin]),
    }


def _kinetic(run: Trajectory, i: int, frame: int) -> float:
    """Of its centre [J]."""
    return 0.5 * run.system.bodies[i].mass * float(run.velocity[frame, i] @ run.velocity[frame, i])


def _drift(run: Trajectory, i: int) -> dict[str, Any] | None:
    """The longest stretch of frames with an even speed, without a blow in it."""
    body, speed = run.system.bodies[i], np.linalg.norm(run.velocity[:, i], axis=1)
    begin, end = _even_stretch(run.time, speed)
    lasted = run.time[end] - run.time[begin]
    heat = run.energy["joule_heat"][end] - run.energy["joule_heat"][begin]
    stretch = speed[begin : end + 1]
    weight = body.mass * float(np.linalg.norm(run.system.gravity))
    heated = heat >= HEATED * weight * float(stretch.mean()) * lasted
    if not (lasted >= LASTS * run.time[-1] > 0 and heated):
        return None
    return {
        "body": body.name,
        "speed_m_s": float(np.median(stretch)),
        "slowest_m_s": float(stretch.min()),
        "fastest_m_s": float(stretch.max()),
        "from_s": float(run.time[begin]),
        "to_s": float(run.time[end]),
    }


def _even_stretch(time: Array, speed: Array) -> tuple[int, int]:
    """The first and the last frame of the longest stretch with an even speed."""
    start, best = 0, (0, 0)
    for k in range(len(speed)):
        if speed[k] < STILL:
            start = k + 1
        while start < k and np.ptp(speed[start : k + 1]) > EVEN * speed[k]:
            start += 1
        if start <= k and time[k] - time[start] > time[best[1]] - time[best[0]]:
            best = (start, k)
    return best
