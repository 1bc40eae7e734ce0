"""Energy of the part against tilt or way, rests, points of no return, as work for a lane."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from snapsim.analysis.figures import numbers
from snapsim.analysis.margins import margin_summary
from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import distance_curve
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.tilt_curve import tilt_curve
from snapsim.landscape.ways import pushes, turns
from snapsim.page.figures import TOLERANCE
from snapsim.page.jobs import Report
from snapsim.render.plots.angle import extremes
from snapsim.simulation.system import System
from snapsim.study.confirmed_margin import confirmed_margin

FARTHEST = 0.3
"""How far [m] a part that cannot be turned is moved at most."""

STEPS = 48
"""Steps of that."""


def curve_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Turn the part of the scene both ways from where it is, or move what cannot be turned (a ball)
    toward the magnet; energies in J with weight, above that where it is now, `at` in `unit` (deg or
    mm)."""
    system, part = _scene(given)
    report(0.0, "preparing")
    landscape = EnergyLandscape(system, part, tolerance=TOLERANCE)
    constraints = Constraints(system, part)
    if not turns(landscape, constraints, landscape.start):
        return _moved(landscape, constraints, _stages(report))
    curve = tilt_curve(landscape, constraints, given.get("axis", 0), _stages(report))
    at, energy = np.degrees(curve.angle), curve.energy
    return _answer("tilt", "deg", curve.axis, (at, energy, curve.magnetic))


def _moved(
    landscape: EnergyLandscape, constraints: Constraints, tell: Callable[[str, int, int], None]
) -> dict[str, Any]:
    """The curve along the straight way to the magnet, or up."""
    ways = pushes(landscape, constraints, landscape.start, FARTHEST)
    way = next((w for w in ways if w.kind == "approach"), ways[0] if ways else None)
    if way is None:
        raise InputError("no way was found in which it can be turned or moved", key="part")
    reach = way.reach(STEPS)[0]
    distance = np.linspace(0.0, reach, STEPS + 1)
    curve = distance_curve(
        landscape, constraints, way.direction, distance, lambda done, of: tell("moving", done, of)
    )
    weight = landscape.mass * landscape.system.gravity
    energy = curve.energy - distance * float(weight @ way.direction)
    return _answer(way.kind, "mm", way.direction, (1e3 * distance, energy, curve.energy))


def _answer(
    along: str, unit: str, axis: Array, drawn: tuple[Array, Array, Array]
) -> dict[str, Any]:
    at, energy, magnetic = drawn
    energy = energy - float(np.interp(0.0, at, energy))
    magnetic = magnetic - float(np.interp(0.0, at, magnetic))
    return {
        "along": along,
        "unit": unit,
        "axis": numbers(axis),
        "at": numbers(at),
        "energy_J": numbers(energy),
        "magnetic_J": numbers(magnetic),
        "extremes": [
            {"at": x, "energy_J": level, "crest": crest} for x, level, crest in extremes(at, energy)
        ],
        "now_J": 0.0,
    }


def margin_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Return how far the part is from snapping, confirmed by releases, as `snapsim margin --json`
    has it."""
    system, part = _scene(given)
    found = confirmed_margin(system, system.bodies[part].name, _stages(report))
    return margin_summary(found)


def _scene(given: dict[str, Any]) -> tuple[System, int]:
    from snapsim.scenario.loading import scene_from_text

    system = scene_from_text(given["text"], given["file"], given["changes"])
    return system, system.number(given["part"])


def _stages(report: Report) -> Callable[[str, int, int], None]:
    return lambda what, done, of: report(done / max(of, 1), what)
