"""What a run and a look before release come to: the JSON objects of `release` and `force`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from snapsim.analysis.figures import number, numbers
from snapsim.analysis.repeats import twins_summary
from snapsim.arrays import Array
from snapsim.mechanics.chipping import chipping
from snapsim.simulation.trajectory import Audit, Impact, Load, Trajectory, kinetic_energy
from snapsim.words.braking import braking_words, left_out_of_braking
from snapsim.words.chipping import chance_words
from snapsim.words.eddy_currents import with_eddy_words
from snapsim.words.endings import ending_words, parting_words
from snapsim.words.meshes import with_mesh_words

if TYPE_CHECKING:  # importing it loads the compiled magnetics
    from snapsim.landscape.force import ForceAccuracy, ForceReport
    from snapsim.landscape.pull_off import PullOff
    from snapsim.simulation.refinement import RefinedEstimate
    from snapsim.simulation.system import System

FORCELESS = 1e-9
"""Force [N] below which shares of it say nothing."""


def summary(trajectory: Trajectory) -> dict[str, Any]:
    """Return the result of a release; SI, plain floats, None where a number is not known.

    The first entry of "impacts" is the first contact after release. Kinetic energies are in the
    world frame.
    """
    t = trajectory
    return {
        "title": t.system.title,
        "outcome": t.outcome,
        "reason": ending_words(t.ending),
        "reason_code": t.reason,
        "simulated_s": number(t.time[-1] - t.time[0]),
        "bodies": _bodies(t),
        "impacts": [_impact(i) for i in t.impacts],
        "loads": {name: _load(load) for name, load in t.loads.items()},
        "energy": _energy(t.audit),
        **_braking(t),
        "cost": {
            "field_evaluations": t.cost.field_evaluations,
            "steps": t.cost.steps,
            "wall_s": number(t.cost.wall),
        },
        "accuracy": _accuracy(t),
        "twins": twins_summary(t.twins, len(t.impacts)),
    }


def _energy(audit: Audit) -> dict[str, Any]:
    """The books: what the field gave, and what nothing accounts for."""
    return {
        "magnetic_released_J": number(audit.magnetic_released),
        "unaccounted_J": number(audit.unaccounted),
        "unaccounted_fraction": number(audit.unaccounted_fraction),
        **_audit_parts(audit),
    }


def force_summary(report: ForceReport) -> dict[str, Any]:
    """Return the result of a look before release; torque about each centre of mass, world axes.

    "accuracy" is there where error bars were asked for, and then by which shares each force found
    may be low or high by its cells.
    """
    bodies = _as_placed(report)
    result: dict[str, Any] = {
        "title": report.system.title,
        "bodies": bodies,
        "magnetic_energy_J": number(report.magnetic_energy),
    }
    if report.between is not None:
        result["between"] = _between(report.system, report.between)
    if report.close:
        result["warnings"] = [str(gap) for gap in report.close]
    if report.accuracy is not None:
        result["accuracy"] = _force_accuracy(report.system, report.accuracy)
        for i, body in enumerate(report.system.bodies):
            bodies[body.name] |= _reads(report.force[i], report.accuracy.force, i)
    return result


def _as_placed(report: ForceReport) -> dict[str, dict[str, Any]]:
    """What acts on each body, by name."""
    bodies: dict[str, dict[str, Any]] = {
        body.name: {
            "mass_kg": number(body.mass),
            "force_N": numbers(report.force[i]),
            "torque_Nm": numbers(report.torque[i]),
            "mean_polarisation_T": numbers(report.mean_polarisation[i]),
            "peak_polarisation_T": number(report.peak_polarisation[i]),
            "cells": int(report.cells[i]),
        }
        for i, body in enumerate(report.system.bodies)
    }
    for body, pull in zip(report.system.bodies, report.pull_off, strict=False):
        if pull is not None:
            bodies[body.name]["pull_off"] = _pull_off(pull)
    return bodies


def _reads(force: Array, estimate: RefinedEstimate, body: int) -> dict[str, float | None]:
    """By which shares of the force found the true one may be larger, and smaller."""
    found, bar = float(np.linalg.norm(force)), float(estimate.error[body])
    limit = float(np.linalg.norm(estimate.value[body]))
    if found < FORCELESS:
        return {"force_low_by_up_to": None, "force_high_by_up_to": None}
    return {
        "force_low_by_up_to": number(max((limit + bar) / found - 1, 0.0)),
        "force_high_by_up_to": number(min(max(1 - (limit - bar) / found, 0.0), 1.0)),
    }


def _between(system: System, between: Array) -> dict[str, dict[str, Any]]:
    """What each body feels of each other one that acts on it; torque about its own centre."""
    names = [body.name for body in system.bodies]
    found: dict[str, dict[str, Any]] = {}
    for name, row in zip(names, between, strict=True):
        felt = {
            other: {"force_N": numbers(load[:3]), "torque_Nm": numbers(load[3:])}
            for other, load in zip(names, row, strict=True)
            if load.any()
        }
        if felt:
            found[name] = felt
    return found


def _pull_off(pull: PullOff) -> dict[str, Any]:
    """What it takes to pull a resting part off what it touches, and to tip it."""
    return {
        "against": list(pull.against),
        "force_N": number(pull.force),
        "direction": numbers(pull.direction),
        "torque_Nm": number(pull.torque),
        "torque_axis": numbers(pull.axis),
    }


def _force_accuracy(system: System, a: ForceAccuracy) -> dict[str, Any]:
    """Limits of vanishing cells and error bars; the bar of a vector is that of its length."""
    bodies = {
        body.name: {
            "coarse_cells": int(a.coarse_cells[i]),
            "cells": int(a.cells[i]),
            "force_N": numbers(a.force.value[i]),
            "force_error_N": number(a.force.error[i]),
            "torque_Nm": numbers(a.torque.value[i]),
            "torque_error_Nm": number(a.torque.error[i]),
            "mean_polarisation_T": numbers(a.mean_polarisation.value[i]),
            "mean_polarisation_error_T": number(a.mean_polarisation.error[i]),
        }
        for i, body in enumerate(system.bodies)
    }
    return {
        "detail": system.detail,
        "order": number(a.order),
        "solver_bound_J": number(a.solver_bound),
        "converged": a.converged,
        "bodies": bodies,
        "magnetic_energy_J": number(float(a.magnetic_energy.value)),
        "magnetic_energy_error_J": number(float(a.magnetic_energy.error)),
    }


def _braking(t: Trajectory) -> dict[str, Any]:
    """What eddy currents did, where conductors brake."""
    if not t.currents:
        return {}
    from snapsim.run.braking import drifting

    heat, drifts = t.audit.joule_heat, drifting(t)
    unjoined, iron, coarse = (_share(t, key) for key in ("unjoined", "iron", "coarse"))
    potential = t.energy["gravity"] + t.energy["magnetic"]
    turned_over = max(float((potential[0] - potential).max()), float(t.energy["kinetic"].max()))
    return {
        "braking": {
            "joule_heat_J": number(heat),
            "stored_J": number(t.audit.current_energy),
            "conductors": sorted(t.currents),
            "drifting": [
                {k: v if isinstance(v, str) else number(v) for k, v in d.items()} for d in drifts
            ],
            "says": braking_words(heat, turned_over, drifts),
            "left_out": left_out_of_braking(t.system, unjoined or 0.0, iron, coarse),
        }
    }


def _share(t: Trajectory, name: str) -> float | None:
    """The share of the braking that may be wrong for something, None where the run has none."""
    found = t.accuracy.get(f"{name}_share")
    return None if found is None else float(found)


def _accuracy(t: Trajectory) -> dict[str, Any]:
    found = with_eddy_words(with_mesh_words(t.accuracy))
    return {k: v if isinstance(v, str) else number(v) for k, v in found.items()}


def _bodies(t: Trajectory) -> dict[str, Any]:
    speed = np.linalg.norm(t.velocity, axis=2)
    return {
        body.name: {
            "mass_kg": number(body.mass),
            "max_speed_m_s": number(speed[:, i].max()),
            "max_kinetic_energy_J": number(kinetic_energy(t, i).max()),
            "final_position_m": numbers(t.position[-1, i]),
            "final_quaternion": numbers(t.quaternion[-1, i]),
        }
        for i, body in enumerate(t.system.bodies)
    }


def _load(load: Load) -> dict[str, Any]:
    """A load; "parted_s", "parted_why" and "parted_code" are there only for joints that parted."""
    more = {
        "peak_torque_Nm": number(load.peak_torque),
        "peak_torque_time_s": number(load.torque_time),
        "last_force_N": number(load.last_force),
        "last_torque_Nm": number(load.last_torque),
        "parted_s": number(load.parted),
        "parted_why": parting_words(load.why, load.told) or None,
        "parted_code": load.why,
    }
    least = {"peak_force_N": number(load.peak_force), "peak_time_s": number(load.peak_time)}
    return least | {key: value for key, value in more.items() if value is not None}


def _audit_parts(audit: Audit) -> dict[str, Any]:
    """The three parts of the audit, and what else moved energy."""
    return {
        "gravity_released_J": number(audit.gravity_released),
        "hold_work_J": number(audit.hold_work),
        **({"supply_work_J": number(audit.supply_work)} if audit.supply_work else {}),
        "field": {
            "work_J": number(audit.field_work),
            "released_J": number(audit.magnetic_released),
            "largest_misfit_J": number(audit.field_error),
        },
        "integrator": {
            "work_J": number(audit.all_work),
            "kinetic_change_J": number(audit.kinetic_change),
            "largest_misfit_J": number(audit.integrator_error),
        },
        "events": {
            "impact_loss_J": number(audit.impact_loss),
            "friction_loss_J": number(audit.friction_loss),
            "gained_J": number(audit.event_gain),
        },
        "position_correction": {
            "taken_J": number(audit.correction_taken),
            "given_J": number(audit.correction_given),
        },
        "deepest_overlap_m": number(audit.deepest_overlap),
    }


def _impact(impact: Impact) -> dict[str, Any]:
    low, high = impact.peak_force
    found = {
        "time_s": number(impact.time),
        "body": impact.body,
        "against": impact.against,
        "point_m": numbers(impact.point),
        "normal": numbers(impact.normal),
        "closing_speed_m_s": number(impact.closing_speed),
        "kinetic_energy_J": number(impact.kinetic_energy),
        "effective_mass_kg": number(impact.effective_mass),
        "effective_energy_J": number(impact.effective_energy),
        "impulse_Ns": number(impact.impulse),
        "peak_force_N": [number(low), number(high)],
    }
    if not math.isnan(impact.fastest):
        found["fastest_point_speed_m_s"] = number(impact.fastest)
    if impact.struck_through:
        found["struck_through"] = True
    if impact.jammed:
        found["jammed"] = True
    if impact.area > 0:
        found["face_area_m2"] = number(impact.area)
    if not math.isnan(impact.edge_stress[1]):
        found["magnet_edge_stress_Pa"] = [number(s) for s in impact.edge_stress]
        found["magnet_strength_Pa"] = number(impact.magnet_strength)
        found["magnet_chipping_chance"] = [number(p) for p in impact.chipping]
        found["magnet_chipping"] = chance_words(impact.chipping)
        found["magnet_chipping_code"] = chipping(impact.chipping)
    return found
