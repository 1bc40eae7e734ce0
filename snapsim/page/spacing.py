"""Where a part may be: set down on what lies under it, at a gap from a magnet, on its joints.

A gap(s) = g is solved for the way s along a direction by stepping until it is crossed, then by
Brent's method: along gravity for what carries the part, toward the nearest magnet for its gap.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array, BoolArray
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
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
    carries = np.array([not system.bodies[int(i)].is_magnet for i in constraints.others], bool)
    size = float(np.linalg.norm(system.gravity))
    down = system.gravity / size if size > 0 else np.array([0.0, 0.0, -1.0])
    s = _crossing(constraints, place, down, carries, CLEAR)
    if s is None:
        raise InputError("nothing lies under it to set it down on", key="pose")
    return Place(place.position + s * down, place.quaternion)


def at_gap(system: System, part: int, place: Place, wanted: float) -> Place:
    """Return the place at a gap [m] from the nearest magnet, straight toward it or away.

    Raises InputError where there is no magnet, or nothing along the way has that gap.
    """
    constraints = Constraints(system, part)
    magnets = np.array([system.bodies[int(i)].is_magnet for i in constraints.others], bool)
    if not magnets.any():
        raise InputError("there is no magnet to keep a gap from", key="gap")
    toward = _toward_magnet(system, constraints, place, magnets)
    s = _crossing(constraints, place, toward, magnets, max(wanted, CLEAR))
    if s is None:
        raise InputError(
            f"no place straight before the magnet has a gap of {1e3 * wanted:g} mm", key="gap"
        )
    return Place(place.position + s * toward, place.quaternion)


def kept_on_joints(constraints: Constraints, place: Place) -> Place:
    """Return the nearest place that hinges, slides and strings allow; raises InputError."""
    if not constraints.joints:
        return place
    found = constraints.restored(place)
    if found is None:
        raise InputError("its joint does not let it there", key="pose")
    return found


def _toward_magnet(
    system: System, constraints: Constraints, place: Place, magnets: BoolArray
) -> Array:
    """The direction (3,) that closes the gap to the nearest magnet fastest."""
    gaps = np.where(magnets, constraints.gaps(place), np.inf)
    nearest = int(constraints.others[int(np.argmin(gaps))])
    limits = constraints.limits(place, float(gaps.min()) + 1e-4)
    mine = limits.other == nearest
    if np.any(mine):
        count = len(limits.other)
        away: Array = limits.normal[mine][int(np.argmin(limits.gap[:count][mine]))]
    else:
        away = place.position - system.start.pose.position[nearest]
    return -away / float(np.linalg.norm(away))


def _crossing(
    constraints: Constraints, place: Place, way: Array, counted: BoolArray, wanted: float
) -> float | None:
    """The way s [m] nearest to here at which the smallest gap of those `counted` is as wanted."""

    def over(s: float) -> float:
        there = Place(place.position + s * way, place.quaternion)
        return float(constraints.gaps(there)[counted].min(initial=np.inf)) - wanted

    step = 0.2 * float(constraints.body.shape.extents.min())
    step = step if over(0.0) > 0 else -step
    s = 0.0
    while abs(s) < FARTHEST:
        if (over(s + step) > 0) != (step > 0):
            low, high = sorted((s, s + step))
            return float(brentq(over, low, high, xtol=1e-9))
        s += step
    return None
