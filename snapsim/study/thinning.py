"""A run with few frames and no cells: enough to look at, small enough to keep thousands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from snapsim.arrays import IntArray
from snapsim.simulation.trajectory import Trajectory

FRAMES = 64
"""Frames kept besides those at blows."""


def thinned(run: Trajectory) -> Trajectory:
    """Return the run with about `FRAMES` frames, all those at blows, and no magnetisation."""
    at = _chosen(run)
    return replace(
        run,
        time=run.time[at],
        position=run.position[at],
        quaternion=run.quaternion[at],
        velocity=run.velocity[at],
        spin=run.spin[at],
        force=run.force[at],
        torque=run.torque[at],
        energy={k: v[at] for k, v in run.energy.items()},
        gap=run.gap[at],
        cells={},
        magnetisation={},
        currents={name: v[at, :0] for name, v in run.currents.items()},
        work={k: v[at] for k, v in run.work.items()},
        bearing={k: v[at] for k, v in run.bearing.items()},
    )


def _chosen(run: Trajectory) -> IntArray:
    count = len(run.time)
    even = np.linspace(0, count - 1, min(FRAMES, count)).round().astype(np.int64)
    blows = np.flatnonzero(np.isin(run.time, [i.time for i in run.impacts]))
    found: IntArray = np.unique(np.concatenate([even, blows]))
    return found
