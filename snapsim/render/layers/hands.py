"""Where a hand or a finger could be: a frame round the place, and how far it has closed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.render import palette
from snapsim.render.actors import pose_matrix
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.simulation.hands import Gaps, hand_gaps
from snapsim.simulation.trajectory import Trajectory

ASIDE = 0.07  # of the action's size: how far words keep from the frame they are about
LEAST = 0.012  # half size of a frame at least, as a share of the action's size


class HandMarks:
    """A frame for every hand of the scene, in another colour and said so once its gap is below
    the one that matters there."""

    def __init__(self, plotter: Any, run: Trajectory, size: float, line: float) -> None:
        self._run, self._gaps, self._aside = run, hand_gaps(run), ASIDE * size
        self._frames = []
        for found in self._gaps:
            half = np.maximum(found.hand.span, LEAST * size)
            box = pv.Box(bounds=np.column_stack([-half, half]).ravel().tolist())
            actor = plotter.add_mesh(
                box.extract_feature_edges(),
                color=palette.HAND_OPEN,
                line_width=line,
                lighting=False,
                reset_camera=False,
            )
            self._frames.append(actor)
        self.reach = np.concatenate(
            [np.zeros((0, 3))] + [self._place(g, x, q)[None] for g in self._gaps
                                  for x, q in zip(run.position, run.quaternion, strict=True)]
        )  # fmt: skip

    def gap(self, found: Gaps, time: float) -> float:
        """Return a hand's gap [m] at a time [s], linear between the run's frames."""
        return float(np.interp(time, self._run.time, found.gap))

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring the frames to their places."""
        for found, actor in zip(self._gaps, self._frames, strict=True):
            turn = rotations.IDENTITY
            if found.hand.body is not None:
                turn = moment.quaternion[self._run.system.number(found.hand.body)]
            place = self._place(found, moment.position, moment.quaternion)
            actor.user_matrix = pose_matrix(place, turn)
            shut = self.gap(found, moment.time) < found.hand.gap
            actor.prop.color = palette.HAND_CLOSED if shut else palette.HAND_OPEN

    def notes(self, moment: Moment) -> list[Note]:
        """Each hand's name and gap, and whether that is too little."""
        found = []
        for gaps in self._gaps:
            gap = self.gap(gaps, moment.time)
            if not np.isfinite(gap):
                continue
            shut = gap < gaps.hand.gap
            words = f"{gaps.hand.name}: {1e3 * max(gap, 0.0):.0f} mm"
            if shut:
                words += f", below {1e3 * gaps.hand.gap:.0f} mm"
            colour = palette.HAND_CLOSED if shut else palette.HAND_OPEN
            place = self._place(gaps, moment.position, moment.quaternion)
            found.append(Note(words, place, colour, self._aside))
        return found

    def _place(self, found: Gaps, position: Array, quaternion: Array) -> Array:
        hand = found.hand
        if hand.body is None:
            return hand.point
        i = self._run.system.number(hand.body)
        placed: Array = position[i] + rotations.rotate(quaternion[i], hand.point)
        return placed
