"""Which bodies of a system brake magnets by eddy currents; it loads nothing to compute with."""

from __future__ import annotations

from collections.abc import Sequence

from snapsim.parts.bodies import Body
from snapsim.simulation.system import System


def conducting(bodies: Sequence[Body]) -> list[int]:
    """Return the numbers of bodies whose eddy currents act: they conduct, and are neither iron nor
    magnets."""
    return [
        i
        for i, b in enumerate(bodies)
        if (b.material.conductivity or 0.0) > 0 and not (b.is_soft or b.is_magnet)
    ]


def braking_conductors(bodies: Sequence[Body]) -> dict[int, tuple[int, ...]]:
    """Return conductors by number with the magnets that can move relative to them."""
    magnets = [i for i, b in enumerate(bodies) if b.is_magnet]
    near = {
        i: tuple(m for m in magnets if not (bodies[i].fixed and bodies[m].fixed))
        for i in conducting(bodies)
    }
    return {i: some for i, some in near.items() if some}


def brakes(system: System) -> list[int]:
    """Return the numbers of a system's conductors whose eddy currents act."""
    return list(braking_conductors(system.bodies)) if system.eddy_currents else []
