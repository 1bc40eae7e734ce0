"""A release on two meshes: how far the cells leave impact speed and energy off.

The first blow is compared, and where the fine and the coarse run do not end alike (another part is
struck first, or a part reaches a magnet in one run only) the point of no return lies between them:
then no error bar is given, and the accuracy says that the outcome depends on the mesh. What follows
the first blow is not extrapolated: a bounce magnifies every small difference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.simulation.refinement import (
    TwoMeshes,
    estimate_scalar,
    two_meshes,
)
from snapsim.simulation.release import Progress, release
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Trajectory

SAME = "the same on both meshes"
DEPENDS = "outcome depends on the mesh"

QUANTITIES: dict[str, tuple[str, Callable[[Impact], float]]] = {
    "first_impact_time": ("s", lambda i: i.time),
    "first_impact_speed": ("m_s", lambda i: i.closing_speed),
    "first_impact_kinetic_energy": ("J", lambda i: i.kinetic_energy),
    "first_impact_effective_energy": ("J", lambda i: i.effective_energy),
}
"""What is extrapolated: name, unit as in a key, and how it is read from the first blow."""


def release_with_accuracy(
    system: System, progress: Progress | None = None, settings: MotionSettings | None = None
) -> Trajectory:
    """Simulate on a fine and a coarse mesh; return the fine run, error bars in its `accuracy`."""
    meshes = two_meshes(system)
    fine = release(system, progress, settings, meshes.fine)
    if fine.outcome == "stopped" or not meshes.coarse:
        return fine
    coarse = release(system, progress, settings, meshes.coarse)
    return replace(fine, accuracy={**fine.accuracy, **compared(coarse, fine, meshes)})


def compared(coarse: Trajectory, fine: Trajectory, meshes: TwoMeshes) -> dict[str, float | str]:
    """Return what the two runs say of each other, flat: keys carry their unit."""
    cells = meshes.counts
    found: dict[str, float | str] = {
        "coarse_cells": float(cells[0]),
        "cells": float(cells[1]),
        "order": meshes.order,
        "meshes": difference(coarse, fine, cells),
        "coarse_solver_bound_J": coarse.accuracy.get("solver_bound_J", float("nan")),
    }
    if found["meshes"] == SAME and fine.impacts:
        for name, (unit, read) in QUANTITIES.items():
            a, b = read(coarse.impacts[0]), read(fine.impacts[0])
            estimate = estimate_scalar(a, b, meshes)
            found[f"{name}_{unit}"] = float(estimate.value)
            found[f"{name}_error_{unit}"] = float(estimate.error)
    return found


def difference(coarse: Trajectory, fine: Trajectory, cells: tuple[int, int]) -> str:
    """Return `SAME`, or in words where the two runs part."""
    if coarse.outcome == "stopped":
        return f"not compared: the run on {cells[0]} cells stopped: {coarse.reason}"
    on_coarse, on_fine = snapped(coarse), snapped(fine)
    if on_coarse != on_fine:
        said = f"on {cells[1]} cells {_listed(on_fine)}, on {cells[0]} cells {_listed(on_coarse)}"
        return f"{DEPENDS}: {said}"
    first, second = _first(fine), _first(coarse)
    if first != second:
        said = f"{first} on {cells[1]} cells, {second} on {cells[0]} cells"
        return f"{DEPENDS}: the first blow is {said}"
    return SAME


def snapped(run: Trajectory) -> frozenset[str]:
    """Return the parts that strike a magnet, or are magnets and strike iron."""
    bodies = {body.name: body for body in run.system.bodies}
    pairs = {pair for i in run.impacts for pair in ((i.body, i.against), (i.against, i.body))}
    return frozenset(
        a
        for a, b in pairs
        if not bodies[a].fixed
        and (
            (bodies[b].is_magnet and (bodies[a].is_soft or bodies[a].is_magnet))
            or (bodies[a].is_magnet and bodies[b].is_soft)
        )
    )


def _listed(names: frozenset[str]) -> str:
    return f"{' and '.join(sorted(names))} snaps" if names else "nothing snaps"


def _first(run: Trajectory) -> str:
    if not run.impacts:
        return "none"
    return f"{run.impacts[0].body} against {run.impacts[0].against}"
