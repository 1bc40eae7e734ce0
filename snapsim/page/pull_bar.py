"""By how much the pull on a part may be too small for its cells, told at once, on one mesh.

Close to other iron, within `REACH` edges of a cell, no such share is of use: two meshes tell 30 %
at 3 mm and 25 times the pull where steel discs touch (`landscape.force` with `accuracy`). So none
is told there, and whom it is close to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapsim.magnetics.model import MagneticModel
from snapsim.parts.states import Pose
from snapsim.simulation.close_soft_parts import REACH
from snapsim.simulation.magnet_rims import nearness, rims
from snapsim.simulation.refinement import expected_low
from snapsim.simulation.system import System


@dataclass(frozen=True)
class PullBar:
    """`low_by`: the share by which the pull may be greater than it reads; None where no iron acts,
    and where other iron, `close_to`, is too near to tell."""

    low_by: float | None
    close_to: str | None = None


def pull_bar(
    system: System, model: MagneticModel, part: int, pose: Pose, gaps: Mapping[int, float]
) -> PullBar:
    """Return the bar of the pull on body number `part`; `gaps` [m] from it to others, by number."""
    if part in model.cells:
        near = {
            i: gap for i, gap in gaps.items() if i in model.cells and gap < _reach(model, part, i)
        }
        if near:
            return PullBar(None, system.bodies[min(near, key=lambda i: near[i])].name)
    mine = [part] if part in model.cells else list(model.cells)
    return PullBar(max((_low_by(system, model, i, pose) for i in mine), default=None))


def _reach(model: MagneticModel, one: int, other: int) -> float:
    """The gap [m] between two bodies below which cells tell no bar."""
    volume = max(float(model.cells[i].volume.max()) for i in (one, other))
    return REACH * float(np.cbrt(volume))


def _low_by(system: System, model: MagneticModel, part: int, pose: Pose) -> float:
    """By which share the force on a part of iron, or of it, may be low."""
    cells = model.cells[part]
    edges = {i: rims(system.bodies[i]) for i in model.magnets}
    near = nearness(cells, part, edges, pose)
    members = max(len(system.bodies[part].shape.members), 1)
    away, at_edge = expected_low("draft", len(cells.volume), members)
    return away if near.clear else at_edge
