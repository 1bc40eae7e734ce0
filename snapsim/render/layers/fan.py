"""The fan of an ensemble: the way of each run's leading part up to now, in the colour of what
became of it, and how many came to what. The run that is shown is one of them.

A way ends at the run's first blow worth announcing; ways lie before the bodies, so that no part
hides those that begin as it does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.render import palette
from snapsim.render.camera import CameraView
from snapsim.render.framing import around, leading_part
from snapsim.render.interpolation import Moment, sample
from snapsim.render.layers.contract import Note
from snapsim.render.layers.vectors import before_it
from snapsim.render.readings import first_blow
from snapsim.run.release_accuracy import snapped
from snapsim.simulation.trajectory import Trajectory

POINTS: Final = 120
BEAD: Final = 0.008  # of the scene's size
RIM: Final = 2.2  # times as wide as a way: a dark rim below it, so that it stands out from iron


@dataclass(frozen=True)
class FanFate:
    """What may become of a run: its words and its colour."""

    words: str
    colour: str


SNAPS: Final = FanFate("snap", palette.SNAPS)
STAYS: Final = FanFate("do not", palette.SPARED)
UNKNOWN: Final = FanFate("undecided", palette.INK_SOFT)
"""Without a snap, but not at rest when it ends."""


def fate_of(run: Trajectory) -> FanFate:
    """Return whether any part of a run snaps: strikes what pulls it."""
    if snapped(run):
        return SNAPS
    return STAYS if run.outcome == "settled" else UNKNOWN


def shares(runs: Sequence[Trajectory]) -> list[tuple[str, str]]:
    """Return a line (words, colour) for each fate that happened, with how many came to it."""
    fates = [fate_of(run) for run in runs]
    counts = {fate: fates.count(fate) for fate in (SNAPS, STAYS, UNKNOWN)}
    told = [(f"{counts[SNAPS]} of {len(runs)} {SNAPS.words}", SNAPS.colour)]
    for fate in (STAYS, UNKNOWN):
        if counts[fate]:
            told.append((f"{counts[fate]} {fate.words}", fate.colour))
    return told


class Fan:
    """The ways of `runs`, the one shown first; `lags` [s] of the others as in `show.Show`, `size`
    [m] the scene's, `line` a width [pixels]."""

    def __init__(
        self,
        plotter: Any,
        runs: Sequence[Trajectory],
        lags: Sequence[float],
        size: float,
        line: float,
    ) -> None:
        self._ways, self._lags = [_way(run) for run in runs], [0.0, *lags]
        first = runs[0]
        self._parts = [leading_part(run.system, run.velocity) or 0 for run in runs]
        extents = first.system.bodies[self._parts[0]].shape.extents
        large = float(np.linalg.norm(extents))
        self._before = 1.1 * large
        self._meshes, self._beads, self._runs = [], [], runs
        ball = pv.Sphere(radius=BEAD * size, theta_resolution=16, phi_resolution=16)
        for run, (_, places) in zip(runs, self._ways, strict=True):
            look = {"color": fate_of(run).colour, "lighting": False, "reset_camera": False}
            mesh = pv.PolyData(places.copy(), lines=[POINTS, *range(POINTS)])
            rim = plotter.add_mesh(mesh, line_width=RIM * line, **{**look, "color": palette.ROOM})
            way = plotter.add_mesh(mesh, line_width=line, **look)
            bead = plotter.add_mesh(ball, **look)
            self._meshes.append((mesh, rim, way))
            self._beads.append(bead)
        every = np.concatenate([places for _, places in self._ways])
        self.reach = around(every, large + 2 * BEAD * size, 2000)
        self._middle = every.mean(axis=0)

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring every way to the moment's time."""
        below, above = (self._forward(view.eye, share * self._before) for share in (1.0, 1.05))
        for n, (times, places) in enumerate(self._ways):
            now = moment.time + self._lags[n]
            here = _place(self._runs[n], self._parts[n], min(now, float(times[-1])))
            mesh, rim, way = self._meshes[n]
            mesh.points = np.where((times <= now)[:, None], places, here)
            rim.user_matrix, way.user_matrix = below, above
            self._beads[n].user_matrix = before_it(here, view.eye, 1.06 * self._before)

    def _forward(self, eye: Array, before: float) -> Array:
        """The matrix (4, 4) that brings what is drawn where it is nearer to the eye."""
        found = before_it(self._middle, eye, before)
        found[:3, 3] -= found[:3, :3] @ self._middle
        return found

    def notes(self, moment: Moment) -> list[Note]:
        """None beside the ways: the key tells of all of them (`shares`)."""
        return []


def _place(run: Trajectory, part: int, time: float) -> Array:
    found: Array = sample(run, time).position[part]
    return found


def _way(run: Trajectory) -> tuple[Array, Array]:
    """Times (POINTS,) and places (POINTS, 3) of a run's leading part until its first blow, equally
    far apart along it."""
    part = leading_part(run.system, run.velocity) or 0
    blow = first_blow(run)
    until = blow.time if blow is not None else float(run.time[-1])
    told = run.time <= until
    time, place = run.time[told], run.position[told, part]
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(place, axis=0), axis=1))])
    way += 1e-9 * (1 + way[-1]) * np.arange(len(way))
    at = np.interp(np.linspace(0, way[-1], POINTS), way, time)
    return at, np.column_stack([np.interp(at, time, place[:, k]) for k in range(3)])
