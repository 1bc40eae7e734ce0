"""Which bodies of a system brake magnets by eddy currents; it loads nothing to compute with."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

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


def joined(system: System) -> list[tuple[int, ...]]:
    """Return the numbers of conductors that brake by circuits: fixed ones are one where each lies
    nearer to the next than the smaller of the two is in radius (two loops three radii apart induce
    2 % in each other of what each does in itself); free ones are alone."""
    found = list(braking_conductors(system.bodies))
    if len(found) < 2:
        return [(i,) for i in found]
    from scipy.sparse.csgraph import connected_components

    fixed = np.array([system.bodies[i].fixed for i in found])
    place = system.start.pose.position[found]
    radius = np.array([np.linalg.norm(system.bodies[i].shape.extents) for i in found])
    gap = np.linalg.norm(place[:, None] - place, axis=2) - radius[:, None] - radius
    near = (gap < np.minimum(radius[:, None], radius)) & fixed[:, None] & fixed
    count, which = connected_components(near, directed=False)
    return [tuple(i for i, w in zip(found, which, strict=True) if w == k) for k in range(count)]
