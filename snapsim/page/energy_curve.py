"""The part's energy against tilt, with rests and points of no return, as work for a lane."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from snapsim.analysis.margins import margin_summary
from snapsim.analysis.summary import number, numbers
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.margin import margin
from snapsim.landscape.tilt_curve import tilt_curve
from snapsim.page.figures import TOLERANCE
from snapsim.page.jobs import Report
from snapsim.render.plots.angle import extremes
from snapsim.simulation.system import System


def curve_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Turn the part of the scene both ways from where it is; energies in J, angles in deg."""
    system, part = _scene(given)
    report(0.0, "preparing")
    landscape = EnergyLandscape(system, part, tolerance=TOLERANCE)
    curve = tilt_curve(landscape, Constraints(system, part), given.get("axis", 0), _stages(report))
    degrees = np.degrees(curve.angle)
    return {
        "axis": numbers(curve.axis),
        "angle_deg": numbers(degrees),
        "energy_J": numbers(curve.energy),
        "magnetic_J": numbers(curve.magnetic),
        "extremes": [
            {"angle_deg": at, "energy_J": energy, "crest": crest}
            for at, energy, crest in extremes(degrees, curve.energy)
        ],
        "now_J": number(float(np.interp(0.0, degrees, curve.energy))),
    }


def margin_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Return how far the part is from snapping, as `snapsim margin --json` has it."""
    system, part = _scene(given)
    found = margin(system, system.bodies[part].name, _stages(report))
    return margin_summary(found)


def _scene(given: dict[str, Any]) -> tuple[System, int]:
    from snapsim.scenario.loading import scene_from_text

    system = scene_from_text(given["text"], given["file"], given["changes"])
    return system, system.number(given["part"])


def _stages(report: Report) -> Callable[[str, int, int], None]:
    return lambda what, done, of: report(done / max(of, 1), what)
