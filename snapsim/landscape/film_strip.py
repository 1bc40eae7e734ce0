"""A run told in a few pictures: where a part was, and how it was magnetised there.

Chosen frames: the first, some by equal shares of the way (its centre's path, and its turns by its
radius of gyration) up to the first blow on what attracts it, that blow, and the last. Of each the
part is cut open (`section`), the magnetisation solved with all bodies as that frame has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.section import PolarisationSection, section
from snapsim.numerics import rotations
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.work.progress import Progress

COUNT: Final = 6
"""Pictures of a strip."""

POINTS: Final = 70
"""Points of a cut along its longer side."""


@dataclass(frozen=True)
class Still:
    """One picture: `time` [s], the `system` with all bodies where they were, the part's `cut`;
    `struck`, the name of what it strikes just then, "" for nothing."""

    time: float
    system: System
    cut: PolarisationSection
    struck: str


def film_strip(
    run: Trajectory, body: int, axes: tuple[int, int], progress: Progress | None = None
) -> tuple[Still, ...]:
    """Return the pictures of body number `body`, a soft part, cut by a plane of two world axes."""
    blow = _first_blow(run, body)
    stills = []
    frames = chosen_frames(run, body, None if blow is None else blow.time)
    for done, k in enumerate(frames):
        if progress is not None:
            progress("magnetisation at a frame", done, len(frames))
        stills.append(_still(run, body, k, axes, blow))
    return tuple(stills)


def chosen_frames(run: Trajectory, body: int, blow: float | None) -> list[int]:
    """Return the numbers of the frames, rising; `blow` is the time [s] of the blow, None for
    none."""
    last = len(run.time) - 1
    until = last if blow is None else _just_before(run.time, blow)
    way = _way(run, body)
    inner = 2 if until == last else 3
    shares = np.arange(1, COUNT - inner + 1) / (COUNT - inner + 1)
    between = [int(np.searchsorted(way[: until + 1], s * way[until])) for s in shares]
    return sorted({0, *(min(k, until) for k in between), until, last})


def _just_before(times: Array, blow: float) -> int:
    """The frame at a blow (of two that share its time the first), else the last before it."""
    k = min(int(np.searchsorted(times, blow - 1e-9)), len(times) - 1)
    return k if times[k] <= blow + 1e-9 else max(k - 1, 0)


def _way(run: Trajectory, body: int) -> Array:
    """How far the part has come at each frame [m], turns counted."""
    radius = float(np.sqrt(np.trace(run.system.bodies[body].shape.gyration) / 3))
    steps = np.linalg.norm(np.diff(run.position[:, body], axis=0), axis=1)
    turns = [
        float(np.linalg.norm(rotations.vector_between(a, b)))
        for a, b in zip(run.quaternion[:-1, body], run.quaternion[1:, body], strict=True)
    ]
    found: Array = np.concatenate([[0.0], np.cumsum(steps + radius * np.array(turns))])
    return found


def _still(run: Trajectory, body: int, k: int, axes: tuple[int, int], blow: Impact | None) -> Still:
    pose = replace(run.system.start.pose, position=run.position[k], quaternion=run.quaternion[k])
    there = replace(run.system, start=replace(run.system.start, pose=pose))
    landscape = EnergyLandscape(there, body, tolerance=1e-7, start_matters=False)
    struck = ""
    if blow is not None and k == _just_before(run.time, blow.time):
        name = run.system.bodies[body].name
        struck = blow.against if blow.body == name else blow.body
    cut = section(landscape, landscape.start, axes, POINTS)
    return Still(float(run.time[k]), there, cut, struck)


def _first_blow(run: Trajectory, body: int) -> Impact | None:
    """The first blow of the part on what attracts it."""
    part = run.system.bodies[body]
    drawn = {
        b.name
        for i, b in enumerate(run.system.bodies)
        if i != body and (b.is_magnet or (part.is_magnet and b.is_soft))
    }
    blows: Sequence[Impact] = run.impacts
    return next(
        (i for i in blows if part.name in (i.body, i.against) and drawn & {i.body, i.against}),
        None,
    )
