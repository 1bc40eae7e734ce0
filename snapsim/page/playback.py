"""A run as the browser plays it: stored frames of what moves, packed, and its figures."""

from __future__ import annotations

from typing import Any

import numpy as np

from snapsim.analysis.repeats import marked
from snapsim.analysis.summary import summary
from snapsim.analysis.tables import run_notes
from snapsim.arrays import IntArray
from snapsim.page.scene_view import pack, scene_view
from snapsim.render.framing import leading_part
from snapsim.render.readings import first_blow, impact_line
from snapsim.simulation.reproducibility import Trust
from snapsim.simulation.trajectory import Trajectory
from snapsim.study.answer import presenter_answer
from snapsim.words.endings import ending_words, warning

MOST_FRAMES = 3000
"""Stored frames that are sent; more are thinned, but never those round an impact."""


def playback(run: Trajectory) -> dict[str, Any]:
    """Return a run to be played: times [s], poses and figures of each moving body over time.

    "part" is the one that gets fastest, followed until another is chosen; "kinetic" is the energy
    of all bodies. Arrays are base64 float32 but for `time`, float64: frames at an impact lie close
    together.
    """
    kept = frames_kept(run)
    lead, told = leading_part(run.system, run.velocity), summary(run)
    blow = first_blow(run)
    return {
        "title": run.system.title,
        "outcome": run.outcome,
        "reason": ending_words(run.ending),
        "reason_code": run.reason,
        "warning": warning(run.ending),
        "part": 0 if lead is None else lead,
        "time": pack(run.time[kept], "f8"),
        "bodies": [_motion(run, kept, i) for i, b in enumerate(run.system.bodies) if not b.fixed],
        "kinetic": pack(run.energy["kinetic"][kept], "f4"),
        "gap": pack(run.gap[kept], "f4"),
        "blow": None
        if blow is None
        else {"time": blow.time, "words": impact_line(blow, run.twins)},
        "parted": {n: load.parted for n, load in run.loads.items() if not np.isnan(load.parted)},
        "says": presenter_answer(run)["says"],
        "summary": told,
        "marked": marks_of(told),
        "notes": [{"says": says, "warns": warns} for says, warns in run_notes(told)],
        "scene": scene_view(run.system),
    }


def marks_of(told: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return by name every figure of a run's summary that its twins do not simply repeat: what the
    tables say of it in SI ("lost", "3.2 or 4.1", "3.2 ?"), and whether that is a figure."""
    outputs = told["twins"]["outputs"]
    repeats = (Trust.REPRODUCIBLE, Trust.NOT_CHECKED)
    return {
        name: {
            "says": marked(output["values"][0], name, told["twins"]),
            "figure": Trust(output["mark"]) is not Trust.LOST,
        }
        for name, output in outputs.items()
        if Trust(output["mark"]) not in repeats
    }


def _motion(run: Trajectory, kept: IntArray, i: int) -> dict[str, Any]:
    """How body number i moves over the frames that are kept."""
    return {
        "index": i,
        "name": run.system.bodies[i].name,
        "position": pack(run.position[kept, i], "f4"),
        "quaternion": pack(run.quaternion[kept, i], "f4"),
        "velocity": pack(run.velocity[kept, i], "f4"),
        "spin": pack(run.spin[kept, i], "f4"),
        "force": pack(run.force[kept, i], "f4"),
        "torque": pack(run.torque[kept, i], "f4"),
        "speed": pack(np.linalg.norm(run.velocity[kept, i], axis=1), "f4"),
        "weight_N": float(run.system.bodies[i].mass * np.linalg.norm(run.system.gravity)),
    }


def frames_kept(run: Trajectory) -> IntArray:
    """Return the indices of stored frames to send: all, or evenly fewer and those at impacts."""
    count = len(run.time)
    if count <= MOST_FRAMES:
        return np.arange(count)
    even = np.linspace(0, count - 1, MOST_FRAMES).round().astype(np.int64)
    at = [np.flatnonzero(run.time == impact.time) for impact in run.impacts]
    near = np.concatenate([np.zeros(0, np.int64), *at])
    return np.unique(np.concatenate([even, near, near - 1, near + 1]).clip(0, count - 1))
