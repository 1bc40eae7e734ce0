"""The same scene with a part whose iron never saturates: what saturation does to force and torque.

A linear material, M = chi H: for a given chi and saturation that chi, for a table the largest ratio
that it reaches, chi = max B / (mu_0 H) - 1 (past the toe, before saturation).
"""

from __future__ import annotations

from dataclasses import replace

from snapsim.constants import MU_0
from snapsim.errors import InputError, label
from snapsim.parts.materials import MagnetisationCurve
from snapsim.simulation.system import System


def unsaturated(system: System, body: int) -> System:
    """Return the system with a linear material for body number `body`; raises InputError for a part
    that has nothing to saturate."""
    part = system.bodies[body]
    curve = part.material.curve
    if not part.is_soft or curve is None or not (curve.saturation or curve.tabulated):
        raise InputError("has no saturation to leave out", key=f"body.{label(part.name)}")
    chi = curve.susceptibility
    if curve.tabulated:
        ratio = curve.flux_density[1:] / (MU_0 * curve.field_strength[1:])
        chi = float(ratio.max()) - 1.0
    linear = replace(part.material, curve=MagnetisationCurve(susceptibility=chi))
    bodies = list(system.bodies)
    bodies[body] = replace(part, material=linear)
    return replace(system, bodies=tuple(bodies))
