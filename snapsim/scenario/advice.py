"""What is allowed but may not be what the author meant."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from snapsim.errors import ComputationError
from snapsim.magnetics.cells import mesh
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.simulation.conductors import brakes
from snapsim.simulation.system import System
from snapsim.words.braking import left_out_of_braking


def advice(system: System) -> list[str]:
    """Return warnings about a sound system, one line each."""
    return [
        *_nothing_happens(system),
        *_unknown(system),
        *_hidden_tables(system),
        *_nothing_recoils(system),
        *_coils(system),
        *_odd_shapes(system),
        *left_out_of_braking(system),
        *_wide_cells(system),
    ]


def _nothing_happens(system: System) -> list[str]:
    found = []
    magnets = [b for b in system.bodies if b.is_magnet]
    if all(b.fixed for b in system.bodies):
        found.append("every body is fixed: nothing will move")
    if not magnets:
        found.append("there is no magnet and no coil: only weight and contact act")
    elif len(magnets) == 1 and not any(b.is_soft for b in system.bodies) and not brakes(system):
        one = "one coil" if magnets[0].coil is not None else "one magnet"
        found.append(f"there is {one} and nothing that it attracts")
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


WARM: Final = 5.0
"""Current density [A/mm^2] that a winding without cooling bears for long; common practice, no
source."""


def _coils(system: System) -> list[str]:
    """What a coil is taken for, and what of it is not computed."""
    found = []
    for body in system.bodies:
        winding = body.winding
        if body.coil is None or winding is None:
            continue
        most = body.coil.turns * float(np.abs(body.coil.current).max())
        density = 1e-6 * most / (2 * winding.width * winding.half_length)
        warm = f", above the {WARM:g} that one bears for long" if density > WARM else ""
        found.append(
            f'"{body.name}": a coil of up to {most:.4g} ampere-turns, {density:.3g} A/mm^2 of its'
            f" cross-section{warm}; its heating and its supply are not modelled, nor how long a"
            " current takes to follow it, nor what iron keeps when it ends: a part may hang on"
        )
        if len(body.coil.moments):
            found.append(
                f'"{body.name}": its current changes; force, poses and margin look at the'
                f" {body.coil.at(0.0):.4g} A at release"
            )
    return found


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


NARROW: Final = 4.0
"""Cells across a magnet below which a wide part's error cannot be told from its cells alone."""


def _wide_cells(system: System) -> list[str]:
    """Parts whose cells are wide against a magnet: what `check` expects does not hold there."""
    widths = [2.0 * float(sorted(b.shape.extents)[1]) for b in system.bodies if b.is_magnet]
    found = []
    for body in system.bodies:
        if not (body.is_soft and widths):
            continue
        size = _cell_size(body, system)
        if size > min(widths) / NARROW:
            found.append(
                f'"{body.name}": its cells ({1e3 * size:.2g} mm) are wide against a magnet of'
                f" {1e3 * min(widths):.3g} mm: within its width of the part forces may be several"
                " times off, beyond what check expects; force says by how much, finer cells cure it"
            )
    return found


def _cell_size(body: Body, system: System) -> float:
    """Width [m] of a body's cells across its shortest side; 0 where none can be made, which others
    say."""
    try:
        cells = mesh(body.shape, system.detail)
    except ComputationError:
        return 0.0
    thin = int(np.argmin(body.shape.extents))
    layers = len(np.unique(np.round(cells.centre[:, thin] / body.shape.extents[thin], 3)))
    thick = 2.0 * float(body.shape.extents[thin]) / layers
    volume = float(np.mean(cells.volume))
    return max(math.sqrt(volume / thick), math.cbrt(volume))
