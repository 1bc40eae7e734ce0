"""Where a part may be: at a gap from the nearest magnet, on its joints."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.errors import InputError
from snapsim.landscape import spacing
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.simulation.system import System


def at_gap(system: System, part: int, place: Place, wanted: float) -> Place:
    """Return the place at a gap [m] from the nearest magnet, straight toward it or away.

    Raises InputError where there is no magnet, or nothing along the way has that gap.
    """
    constraints = Constraints(system, part)
    magnets = np.array([system.bodies[int(i)].is_magnet for i in constraints.others], bool)
    if not magnets.any():
        raise InputError("there is no magnet to keep a gap from", key="gap")
    toward = _toward_magnet(system, constraints, place, magnets)
    found = spacing.at_gap(constraints, place, toward, magnets, max(wanted, spacing.CLEAR))
    if found is None:
        raise InputError(
            f"no place straight before the magnet has a gap of {1e3 * wanted:g} mm", key="gap"
        )
    return found


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
