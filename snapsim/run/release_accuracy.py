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
from snapsim.run.release import ReleaseProgress, release
from snapsim.run.twins import run_and_twins
from snapsim.simulation.close_soft_parts import worst_gap
from snapsim.simulation.refinement import (
    TwoMeshes,
    estimate_scalar,
    two_meshes,
)
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact, Meshes, Trajectory

QUANTITIES: dict[str, tuple[str, Callable[[Impact], float]]] = {
    "first_impact_time": ("s", lambda i: i.time),
    "first_impact_speed": ("m_s", lambda i: i.closing_speed),
    "first_impact_kinetic_energy": ("J", lambda i: i.kinetic_energy),
    "first_impact_effective_energy": ("J", lambda i: i.effective_energy),
}
"""What is extrapolated: name, unit as in a key, and how it is read from the first blow."""


def release_with_accuracy(
    system: System,
    progress: ReleaseProgress | None = None,
    settings: MotionSettings | None = None,
    twins: int = 0,
) -> Trajectory:
    """Simulate on a fine and a coarse mesh; return the fine run, error bars in its `accuracy`.

    `twins` of the fine run say which of its figures repeat. After an interrupt of these, or of the
    coarse run, nothing else is computed: the fine run is whole, and is not compared.
    """
    meshes = two_meshes(system)
    fine, interrupted = run_and_twins(system, twins, progress, settings, meshes.fine)
    if interrupted or fine.outcome in ("stopped", "untrusted") or not meshes.coarse:
        return fine
    try:
        coarse = release(system, progress, settings, meshes.coarse)
    except KeyboardInterrupt:  # before it had reached anything
        return fine
    return replace(fine, accuracy={**fine.accuracy, **compared(coarse, fine, meshes)})


def compared(coarse: Trajectory, fine: Trajectory, meshes: TwoMeshes) -> dict[str, float | str]:
    """Return what the two runs say of each other, flat: keys carry their unit."""
    cells = meshes.counts
    found: dict[str, float | str] = {
        "coarse_cells": float(cells[0]),
        "cells": float(cells[1]),
        "order": meshes.order,
        **difference(coarse, fine),
        "coarse_solver_bound_J": coarse.accuracy.get("solver_bound_J", float("nan")),
    }
    if found["meshes_code"] == Meshes.ALIKE and fine.impacts:
        for name, (unit, read) in QUANTITIES.items():
            a, b = read(coarse.impacts[0]), read(fine.impacts[0])
            estimate = estimate_scalar(a, b, meshes)
            found[f"{name}_{unit}"] = float(estimate.value)
            found[f"{name}_error_{unit}"] = float(estimate.error)
    return found


def difference(coarse: Trajectory, fine: Trajectory) -> dict[str, float | str]:
    """Return how the two runs compare: a "meshes_code" of `Meshes` and the facts behind it."""
    if coarse.outcome in ("stopped", "untrusted"):
        ending = coarse.ending
        return {
            "meshes_code": Meshes.NOT_COMPARED,
            "coarse_reason_code": ending.reason,
            "coarse_reason_figure": ending.figure,
        }
    both = {"fine_snapping": _listed(snapped(fine)), "coarse_snapping": _listed(snapped(coarse))}
    if snapped(fine) != snapped(coarse):
        return {"meshes_code": Meshes.SNAPS_DIFFER, **both}
    blows = {"fine_first_blow": _first(fine), "coarse_first_blow": _first(coarse)}
    if blows["fine_first_blow"] != blows["coarse_first_blow"]:
        return {"meshes_code": Meshes.FIRST_BLOW_DIFFERS, **blows}
    if fine.impacts and worst_gap(fine, fine.impacts[0].time) is not None:
        return {"meshes_code": Meshes.UNRESOLVED_GAP}
    return {"meshes_code": Meshes.ALIKE}


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
    return " and ".join(sorted(names))


def _first(run: Trajectory) -> str:
    """Who struck what first; "" where nothing was struck."""
    return f"{run.impacts[0].body} against {run.impacts[0].against}" if run.impacts else ""
