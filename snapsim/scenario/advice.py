"""What is allowed but may not be what the author meant."""

from __future__ import annotations

from snapsim.parts.materials import MATERIALS
from snapsim.simulation.system import System


def advice(system: System) -> list[str]:
    """Return warnings about a sound system, one line each."""
    return [
        *_nothing_happens(system),
        *_unknown(system),
        *_hidden_tables(system),
        *_nothing_recoils(system),
        *_odd_shapes(system),
    ]


def _nothing_happens(system: System) -> list[str]:
    found = []
    magnets = [b for b in system.bodies if b.is_magnet]
    if all(b.fixed for b in system.bodies):
        found.append("every body is fixed: nothing will move")
    if not magnets:
        found.append("there is no magnet: only weight and contact act")
    elif len(magnets) == 1 and not any(b.is_soft for b in system.bodies):
        found.append("there is one magnet and nothing that it attracts")
    if not any(b.fixed for b in system.bodies):
        found.append("nothing is fixed: all bodies fall together")
    return found


def _unknown(system: System) -> list[str]:
    return [
        f"\"{body.name}\": {body.material.name} has no Young's modulus or Poisson's ratio, so the"
        " peak force of its blows stays unknown"
        for body in system.bodies
        if body.material.youngs_modulus is None or body.material.poissons_ratio is None
    ]


def _nothing_recoils(system: System) -> list[str]:
    if not system.recoil or any(system.has_cells(b) for b in system.bodies if b.is_magnet):
        return []
    return ["recoil = true changes nothing: no magnet's material has a recoil_permeability above 1"]


def _hidden_tables(system: System) -> list[str]:
    own = {b.material.name: b.material for b in system.bodies}
    return [
        f'the scene\'s own material "{name}" replaces the built-in one'
        for name, material in own.items()
        if name in MATERIALS and material is not MATERIALS[name]
    ]


def _odd_shapes(system: System) -> list[str]:
    """What shapes say of themselves."""
    return [f'"{body.name}": {remark}' for body in system.bodies for remark in body.shape.remarks]
