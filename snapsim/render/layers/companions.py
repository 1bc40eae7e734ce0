"""Companions: the moving bodies of other runs of the scene, see-through, in step with this one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from snapsim.render import palette, poles
from snapsim.render.actors import pose_matrix
from snapsim.render.camera import CameraView
from snapsim.render.framing import corners
from snapsim.render.interpolation import Moment, sample
from snapsim.render.layers.contract import Note
from snapsim.simulation.trajectory import Trajectory

FINENESS = 40


class Companions:
    """Ghosts of the free bodies of other `runs`; `lags` [s] as in `show.Show`."""

    def __init__(self, plotter: Any, runs: Sequence[Trajectory], lags: Sequence[float]) -> None:
        self._runs, self._lags = runs, lags
        self._actors: list[list[tuple[int, Any]]] = []
        share = float(np.clip(1.6 / max(len(runs), 1), 0.08, 0.35))
        for run in runs:
            own = []
            for i, body in enumerate(run.system.bodies):
                if not body.fixed:
                    mesh = poles.shaded(poles.poly(*body.shape.surface(FINENESS)))
                    actor = plotter.add_mesh(
                        mesh,
                        color=palette.COMPANION,
                        opacity=share,
                        ambient=0.5,
                        reset_camera=False,
                    )
                    own.append((i, actor))
            self._actors.append(own)
        self.reach = np.concatenate(
            [np.zeros((0, 3))]
            + [
                corners(run.system.bodies[i], run.position[:, i], run.quaternion[:, i])
                for run, own in zip(runs, self._actors, strict=True)
                for i, _ in own
            ]
        )

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring every companion to the moment's time."""
        for run, lag, own in zip(self._runs, self._lags, self._actors, strict=True):
            at = sample(run, moment.time + lag)
            for i, actor in own:
                actor.user_matrix = pose_matrix(at.position[i], at.quaternion[i])

    def notes(self, moment: Moment) -> list[Note]:
        """No words."""
        return []
