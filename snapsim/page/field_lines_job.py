"""Field lines of magnets and iron at one moment, as work for a lane: those that the clips draw."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from snapsim.page.jobs import Report
from snapsim.parts.states import Pose
from snapsim.render.framing import find_action, leading_part
from snapsim.render.layers.field_lines import MovingLines, evenly
from snapsim.render.picture import choose_axes
from snapsim.simulation.trajectory import Trajectory

INSTANT = 1e-6
"""Duration [s] of the release whose first moment stands for the scene as placed."""


def lines_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Trace lines of the run file `run` at its `time`, or of the scene as it is placed."""
    report(0.0, "field lines")
    run, time = _moment(given)
    part = leading_part(run.system, run.velocity)
    action = find_action(run.system, run.position[:1], run.quaternion[:1], part)
    axes = choose_axes(run.system, Pose(run.position[0], run.quaternion[0]), action, None)
    moving = MovingLines(run, action.centre, action.size, axes)
    report(0.3, "field lines")
    lines = [
        np.concatenate([evenly(line.back)[::-1], evenly(line.ahead)[1:]])
        for line in moving.traced(time)
    ]
    return {"lines": [np.round(line, 5).tolist() for line in lines]}


def _moment(given: dict[str, Any]) -> tuple[Trajectory, float]:
    if given.get("run") is not None:
        from snapsim import read_run

        return read_run(given["run"]), float(given["time"])
    from snapsim.run.release import release
    from snapsim.scenario.loading import scene_from_text
    from snapsim.scenario.placement import refuse_overlaps

    system = scene_from_text(given["text"], given["file"], given["changes"])
    refuse_overlaps(system)
    return release(replace(system, duration=INSTANT)), 0.0
