"""What a part would feel elsewhere: the questions of `force` along a line and over a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import ArrayLike, as_floats
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import (
    DistanceCurve,
    ForceMap,
    Tick,
    distance_curve,
)
from snapsim.landscape.curves import (
    force_map as over_plane,
)
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.rests import body_number
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

TOLERANCE = 1e-7
"""Residual bound: forces to about 3e-4, far below what the cells leave off."""


@dataclass(frozen=True)
class AlongLine:
    """The curve of the body called `body`."""

    body: str
    curve: DistanceCurve


@dataclass(frozen=True)
class OverPlane:
    """The map of the body called `body`."""

    body: str
    curve: ForceMap


def force_along(
    system: System,
    body: str | None,
    direction: ArrayLike,
    distance: float,
    points: int,
    progress: Progress | None = None,
    between: bool = False,
) -> AlongLine:
    """Move the body by 0 to `distance` [m] along the unit vector `direction` (3,); with `between`
    what it feels of each other body."""
    landscape, constraints = _made(system, body)
    steps = np.linspace(0.0, distance, points)
    tick = _tick(progress, "along the line")
    curve = distance_curve(landscape, constraints, as_floats(direction), steps, tick, between)
    return AlongLine(landscape.body.name, curve)


def force_map(
    system: System,
    body: str | None,
    axes: tuple[int, int],
    span: tuple[float, float],
    points: int,
    progress: Progress | None = None,
) -> OverPlane:
    """Move the body over a plane of two world axes, its place in the middle of `span` (2,) [m]."""
    landscape, constraints = _made(system, body)
    longest = max(span)
    counts = [max(2, round(1 + (points - 1) * side / longest)) for side in span]
    u, v = (
        np.linspace(-0.5 * side, 0.5 * side, count)
        for side, count in zip(span, counts, strict=True)
    )
    tick = _tick(progress, "over the plane")
    return OverPlane(landscape.body.name, over_plane(landscape, constraints, axes, u, v, tick))


def _made(system: System, body: str | None) -> tuple[EnergyLandscape, Constraints]:
    number = body_number(system, body)
    landscape = EnergyLandscape(system, number, tolerance=TOLERANCE)
    return landscape, Constraints(system, number)


def _tick(progress: Progress | None, stage: str) -> Tick | None:
    if progress is None:
        return None
    return lambda done, of_all: progress(stage, done, of_all)
