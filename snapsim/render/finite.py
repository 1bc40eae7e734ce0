"""Refuses runs that hold values which are no numbers: half a picture would pass for a whole one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.simulation.trajectory import Trajectory

POLARISED = frozenset({"glow", "magnetisation", "section", "lines"})


def require_finite(runs: Sequence[Trajectory], layers: frozenset[str]) -> None:
    """Raise InputError naming the first value of a run that cannot be drawn, and its time."""
    for run in runs:
        for what, values in _drawn(run, layers):
            bad = ~np.isfinite(values.reshape(len(values), -1)).all(axis=1)
            if bad.any():
                time = float(run.time[int(np.argmax(bad))])
                raise InputError(
                    f"{what} is not a finite number at {time:.6g} s; make the run again",
                    file=run.system.file,
                    key="run",
                )


def _drawn(run: Trajectory, layers: frozenset[str]) -> Iterator[tuple[str, Array]]:
    series = {"position": run.position, "quaternion": run.quaternion, "velocity": run.velocity}
    for name, values in series.items():
        for i, body in enumerate(run.system.bodies):
            yield f"{name} of {body.name}", values[:, i]
    yield "kinetic energy", run.energy["kinetic"]
    for name, values in run.magnetisation.items() if layers & POLARISED else ():
        yield f"magnetisation of {name}", values
