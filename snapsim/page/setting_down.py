"""Setting a part down: moved along gravity until the smallest gap to what carries it is closed."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from snapsim.errors import InputError
from snapsim.simulation.landscape.constraints import Constraints
from snapsim.simulation.landscape.place import Place
from snapsim.simulation.system import System

CLEAR = 5e-8
"""Gap [m] that is left: rounding of a typed pose must not become an overlap."""

FARTHEST = 2.0
"""How far [m] below the part something is looked for."""


def set_down(system: System, part: int, place: Place) -> Place:
    """Return the place straight below (or above, out of an overlap) where the part just touches.

    Magnets do not carry: they are left out, as is what is beside the part. Raises InputError
    where nothing lies under it.
    """
    constraints = Constraints(system, part)
    carries = np.array([not system.bodies[int(i)].is_magnet for i in constraints.others])
    size = float(np.linalg.norm(system.gravity))
    down = system.gravity / size if size > 0 else np.array([0.0, 0.0, -1.0])

    def gap(s: float) -> float:
        there = Place(place.position + s * down, place.quaternion)
        return float(constraints.gaps(there)[carries].min(initial=np.inf)) - CLEAR

    step = 0.2 * float(system.bodies[part].shape.extents.min())
    s = 0.0
    if gap(0.0) < 0:
        while gap(s) < 0 and s > -FARTHEST:
            s -= step
        low, high = s, s + step
    else:
        while gap(s) > 0 and s < FARTHEST:
            s += step
        low, high = s - step, s
    if abs(s) >= FARTHEST:
        raise InputError("nothing lies under it to set it down on", key="pose")
    s = float(brentq(gap, low, high, xtol=1e-9))
    return Place(place.position + s * down, place.quaternion)
