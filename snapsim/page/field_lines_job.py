"""Field lines of magnets and iron at one moment, as work for a lane: those that the clips draw."""

from __future__ import annotations

from typing import Any

import numpy as np

from snapsim.landscape.force import magnetisation_as_placed
from snapsim.page.jobs import Report
from snapsim.parts.states import Pose
from snapsim.render.framing import find_action, leading_part
from snapsim.render.interpolation import Moment, sample
from snapsim.render.layers.field_lines import SceneLines, evenly
from snapsim.render.picture import choose_axes
from snapsim.simulation.system import System


def lines_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Trace lines of the run file `run` at its `time`, or of the scene as it is placed."""
    report(0.0, "field lines")
    system, first, now, part = _of_scene(given) if given.get("run") is None else _of_run(given)
    action = find_action(system, first.position[None], first.quaternion[None], part)
    axes = choose_axes(system, Pose(first.position, first.quaternion), action, None)
    scene = SceneLines(system, now.magnetisation, first, action.centre, action.size, axes)
    report(0.3, "field lines")
    lines = [
        np.concatenate([evenly(line.back)[::-1], evenly(line.ahead)[1:]])
        for line in scene.traced(now)
    ]
    return {"lines": [np.round(line, 5).tolist() for line in lines]}


def _of_run(given: dict[str, Any]) -> tuple[System, Moment, Moment, int | None]:
    """System, the moment that seeds are chosen at, the one to show, the leading part."""
    from snapsim import read_run

    run = read_run(given["run"])
    first, now = sample(run, float(run.time[0])), sample(run, float(given["time"]))
    return run.system, first, now, leading_part(run.system, run.velocity)


def _of_scene(given: dict[str, Any]) -> tuple[System, Moment, Moment, int | None]:
    from snapsim.scenario.loading import scene_from_text

    system = scene_from_text(given["text"], given["file"], given["changes"])
    start, solved = system.start, magnetisation_as_placed(system)
    placed = (start.pose.position, start.pose.quaternion, start.velocity)
    now = Moment(0.0, *placed, kinetic=float("nan"), gap=float("nan"), magnetisation=solved)
    return system, now, now, leading_part(system, start.velocity[None])
