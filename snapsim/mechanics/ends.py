"""When a motion is followed no further."""

from __future__ import annotations

import numpy as np

from snapsim.mechanics.books import Books
from snapsim.mechanics.ending import Ending, EndReason, ended
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.rigid_bodies import farthest
from snapsim.parts.states import State


def ending_at(problem: MotionProblem, books: Books, state: State, still: int) -> Ending | None:
    """Return how a motion ends at a state, after a number of steps that were `still`; else None."""
    settings, (centre, radius) = problem.settings, problem.stage
    if still >= settings.rest_steps:
        return ended(EndReason.AT_REST_HELD if problem.joints else EndReason.AT_REST)
    if not problem.bodies.free.any():
        return ended(EndReason.NOTHING_FREE)
    if books.time >= problem.duration:
        return ended(EndReason.TIME_UP, problem.duration)
    if farthest(state.pose.position, centre, problem.bodies.free) > radius:
        return ended(EndReason.LEFT_SCENE, radius)
    if books.steps >= settings.limit:
        return ended(EndReason.STEP_LIMIT, settings.limit)
    if not np.isfinite(state.velocity).all():
        return ended(EndReason.NOT_FINITE)
    return None
