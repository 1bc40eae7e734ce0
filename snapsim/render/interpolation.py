"""What one picture shows: the state of a run at any time, places and turns by `between_frames`.

Forces, energies and gaps are mixed evenly between two frames, never across a blow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.between_frames import hermite, stretches, turned
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


def sample(trajectory: Trajectory, t: float) -> Moment:
    """Return the state at time `t` [s], held at the first and last frames outside the run."""
    run, at = trajectory, stretches(trajectory.time, np.array(t))
    i, j, s, span = int(at.before), int(at.after), float(at.share), float(at.span)
    return Moment(
        time=float(run.time[i]) + s * span,
        position=hermite(
            run.position[i], run.position[j], run.velocity[i], run.velocity[j], span, s
        ),
        quaternion=turned(run.quaternion[i], run.quaternion[j], run.spin[i], run.spin[j], span, s),
        velocity=_mix(run.velocity[i], run.velocity[j], s),
        kinetic=_number(run.energy["kinetic"], i, j, s),
        gap=_number(run.gap, i, j, s),
        magnetisation={n: _mix(m[i], m[j], s) for n, m in run.magnetisation.items()},
        force=_mix(run.force[i], run.force[j], s),
        torque=_mix(run.torque[i], run.torque[j], s),
        energy={n: _number(e, i, j, s) for n, e in run.energy.items()},
    )


def _number(values: Array, i: int, j: int, s: float) -> float:
    return float(_mix(values[i : i + 1], values[j : j + 1], s)[0])


def _mix(a: Array, b: Array, s: float) -> Array:
    """Linear, exact at both ends even beside a nan that is not asked for."""
    if s == 0:
        return a
    return b if s == 1 else (1 - s) * a + s * b
