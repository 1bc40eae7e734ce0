"""The state between stored frames: cubic Hermite positions, slerped turns, never across an impact.

Two frames that share one time stand just before and just after an impact. A time inside a stretch
is interpolated between that stretch's own frames; the shared time itself shows the later frame.
Hermite: Press et al., Numerical Recipes, 3rd ed., 3.3 (from memory); slerp: Shoemake, SIGGRAPH '85.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.simulation.trajectory import Trajectory


@dataclass(frozen=True)
class Moment:
    """What one picture shows: `position` (n, 3) [m], `quaternion` (n, 4), `velocity` (n, 3) [m/s].

    `kinetic` [J] is that of all bodies together, `gap` [m] the smallest to another magnet (nan
    without one), `magnetisation` (c, 3) [A/m] in body axes by body name; `force` (n, 3) [N] and
    `torque` (n, 3) [N m] are magnetic, about the centres of mass, world axes; `energy` [J] by name.
    """

    time: float
    position: Array
    quaternion: Array
    velocity: Array
    kinetic: float
    gap: float
    magnetisation: Mapping[str, Array] = field(default_factory=dict)
    force: Array = field(default_factory=lambda: np.zeros((0, 3)))
    torque: Array = field(default_factory=lambda: np.zeros((0, 3)))
    energy: Mapping[str, float] = field(default_factory=dict)


def frame_before(time: Array, t: float) -> int:
    """Return the index of the last stored frame at or before `t` (the first one before all)."""
    return max(int(np.searchsorted(time, t, side="right")) - 1, 0)


def sample(trajectory: Trajectory, t: float) -> Moment:
    """Return the state at time `t` [s], held at the first and last frames outside the run."""
    time = trajectory.time
    i = frame_before(time, t)
    j = min(i + 1, len(time) - 1)
    span = float(time[j] - time[i])
    s = min(max((t - float(time[i])) / span, 0.0), 1.0) if span > 0 else 0.0
    return Moment(
        time=float(time[i]) + s * span,
        position=hermite(
            trajectory.position[i],
            trajectory.position[j],
            trajectory.velocity[i],
            trajectory.velocity[j],
            span,
            s,
        ),
        quaternion=slerp(trajectory.quaternion[i], trajectory.quaternion[j], s),
        velocity=_mix(trajectory.velocity[i], trajectory.velocity[j], s),
        kinetic=_number(trajectory.energy["kinetic"], i, j, s),
        gap=_number(trajectory.gap, i, j, s),
        magnetisation={n: _mix(m[i], m[j], s) for n, m in trajectory.magnetisation.items()},
        force=_mix(trajectory.force[i], trajectory.force[j], s),
        torque=_mix(trajectory.torque[i], trajectory.torque[j], s),
        energy={n: _number(e, i, j, s) for n, e in trajectory.energy.items()},
    )


def hermite(
    p0: Array, p1: Array, v0: Array, v1: Array, span: float | Array, s: float | Array
) -> Array:
    """Return the cubic through p0, p1 with end velocities v0, v1; `s` in 0..1 over `span` [s].

    Of many stretches at once, `span` and `s` are (..., 1).
    """
    a = s * s * (3 - 2 * s)
    return p0 + a * (p1 - p0) + span * (s * (1 - s) ** 2 * v0 - s * s * (1 - s) * v1)


def slerp(q0: Array, q1: Array, s: float) -> Array:
    """Return unit quaternions (n, 4) at share `s` of the shorter arcs from q0 to q1."""
    dot = np.sum(q0 * q1, axis=-1, keepdims=True)
    q1 = np.where(dot < 0, -q1, q1)
    angle = np.arccos(np.clip(np.abs(dot), 0.0, 1.0))
    small = angle < 1e-6
    divisor = np.where(small, 1.0, np.sin(angle))
    a = np.where(small, 1 - s, np.sin((1 - s) * angle) / divisor)
    b = np.where(small, s, np.sin(s * angle) / divisor)
    return rotations.normalise(a * q0 + b * q1)


def _number(values: Array, i: int, j: int, s: float) -> float:
    return float(_mix(values[i : i + 1], values[j : j + 1], s)[0])


def _mix(a: Array, b: Array, s: float) -> Array:
    """Linear, exact at both ends even beside a nan that is not asked for."""
    if s == 0:
        return a
    return b if s == 1 else (1 - s) * a + s * b
