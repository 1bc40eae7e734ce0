"""Bringing a pose onto the joints, and out of contacts, strings and stops that are overrun."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.joint_changes import OVERRUN
from snapsim.mechanics.linkage import EQUALITY, LIMIT, Mode, on_joints_pose
from snapsim.mechanics.mobility import lines, mobility
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import NEARLY
from snapsim.mechanics.sustained_contact import project_out
from snapsim.parts.states import Pose, State


def pushed_out(
    problem: MotionProblem,
    time: float,
    pose: Pose,
    mode: Mode,
    taut: frozenset[tuple[int, int]],
    allowed: float,
    known: ContactSet | None = None,
) -> tuple[Pose, ContactSet | None]:
    """Return the pose without penetration deeper than `allowed` [m], and what is near there, where
    it was looked at last; `known` is what is near `pose` before it is moved."""
    linkage, bodies, touch = problem.linkage, problem.bodies, problem.settings.touch
    held, still = replace(mode, closed=taut), np.zeros_like(pose.position)
    for _ in range(5):
        on_joints = on_joints_pose(linkage, bodies, pose, time, held)
        if on_joints is not pose or known is None:
            known = problem.geometry.contacts(on_joints, NEARLY * touch)
        pose, near, known = on_joints, known, None
        rows = linkage.rows(State(pose, still, still), time, mode.attached)
        overrun = rows.error[rows.kind == LIMIT].min(initial=np.inf)
        if near.gap.min(initial=0.0) >= -allowed and overrun >= -OVERRUN:
            return pose, near
        limits = rows.only((rows.kind == LIMIT) & (rows.error < touch))
        body = mobility(bodies, pose.quaternion, rows.only(rows.kind == EQUALITY))
        contacts = near.only(near.gap < touch)
        pose = project_out(body, pose, contacts, lines(linkage, limits), limits.error)
    return pose, None
