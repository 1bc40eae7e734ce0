"""The figures that a run is read for, by name: what its table shows and what its twins repeat.

Names are the keys of the JSON of `release`, joined by dots: "bodies.NAME.max_speed_m_s". Each has
the scale below which it counts as small and the time at which it was settled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.simulation.hands import closing_time, hand_gaps
from snapsim.simulation.trajectory import Impact, Load, Trajectory, kinetic_energy

SLOW: Final = 1e-3
"""Speed [m/s] that counts as small."""

SLIGHT: Final = 0.01
"""Share of a scene's weight and largest load that counts as a small force."""


@dataclass(frozen=True)
class Figure:
    """One figure of a run: `value`, `scale` below which it is small, `time` [s] it was settled."""

    value: float
    scale: float
    time: float


def readings(run: Trajectory) -> dict[str, Figure]:
    """Return what a run is read for; nan where it has nothing of the kind."""
    return {
        **_blows(run),
        **_bodies(run),
        **_loads(run),
        **_hands(run),
    }


def _blows(run: Trajectory) -> dict[str, Figure]:
    """The first blow, and the one with the most effective energy."""
    if not run.impacts:
        return {}
    hardest = max(run.impacts, key=lambda i: i.effective_energy)
    return _blow("first_blow", run.impacts[0]) | _blow("hardest_blow", hardest)


def _blow(name: str, blow: Impact) -> dict[str, Figure]:
    least = 0.5 * blow.effective_mass * SLOW**2
    return {
        f"{name}.time_s": Figure(blow.time, SLOW, blow.time),
        f"{name}.closing_speed_m_s": Figure(blow.closing_speed, SLOW, blow.time),
        f"{name}.kinetic_energy_J": Figure(blow.kinetic_energy, least, blow.time),
        f"{name}.effective_energy_J": Figure(blow.effective_energy, least, blow.time),
        f"{name}.impulse_Ns": Figure(blow.impulse, blow.effective_mass * SLOW, blow.time),
    }


def _bodies(run: Trajectory) -> dict[str, Figure]:
    found = {}
    speeds, end = np.linalg.norm(run.velocity, axis=2), float(run.time[-1])
    for i, body in enumerate(run.system.bodies):
        if body.fixed:
            continue
        fastest, size = int(speeds[:, i].argmax()), float(body.shape.extents.max())
        key = f"bodies.{body.name}"
        found[f"{key}.max_speed_m_s"] = Figure(
            float(speeds[fastest, i]), SLOW, float(run.time[fastest])
        )
        energy = kinetic_energy(run, i)
        most = int(energy.argmax())
        found[f"{key}.max_kinetic_energy_J"] = Figure(
            float(energy[most]), 0.5 * body.mass * SLOW**2, float(run.time[most])
        )
        for axis, value in zip("xyz", run.position[-1, i], strict=True):
            found[f"{key}.final_position_m.{axis}"] = Figure(float(value), size, end)
    return found


def _loads(run: Trajectory) -> dict[str, Figure]:
    free = [b for b in run.system.bodies if not b.fixed]
    weight = sum(b.mass for b in free) * float(np.linalg.norm(run.system.gravity))
    peaks = [load.peak_force for load in run.loads.values()]
    force = SLIGHT * max([weight, *peaks])
    length = float(max((b.shape.extents.max() for b in free), default=1.0))
    found, end = {}, float(run.time[-1])
    joints = {joint.name for joint in run.system.joints}
    for name, load in run.loads.items():
        for key, (value, time) in _load(load, end, name in joints).items():
            scale = force * (length if key.endswith("Nm") else 1.0)
            found[f"loads.{name}.{key}"] = Figure(value, SLOW if key == "parted_s" else scale, time)
    return found


def _load(load: Load, end: float, joint: bool) -> dict[str, tuple[float, float]]:
    parted = end if math.isnan(load.parted) else load.parted
    found = {
        "peak_force_N": (load.peak_force, load.peak_time),
        "peak_torque_Nm": (load.peak_torque, load.torque_time),
        "last_force_N": (load.last_force, end),
        "last_torque_Nm": (load.last_torque, end),
    }
    return found | ({"parted_s": (load.parted, parted)} if joint else {})


def _hands(run: Trajectory) -> dict[str, Figure]:
    """When the gap at each hand closed to what matters there, and the least gap."""
    found, end = {}, float(run.time[-1])
    for gaps in hand_gaps(run):
        key, gap = f"hands.{gaps.hand.name}", gaps.gap
        closed = closing_time(run.time, gap, gaps.hand.gap)
        found[f"{key}.closed_s"] = Figure(closed, SLOW, end if math.isnan(closed) else closed)
        if not np.isnan(gap).all():
            k = int(np.nanargmin(gap))
            found[f"{key}.least_gap_m"] = Figure(float(gap[k]), gaps.hand.gap, float(run.time[k]))
    return found
