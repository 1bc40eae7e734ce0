"""Where along a line a part is at a wanted gap from other bodies; set down on what lies under it.

gap(s) = g is solved for the way s [m] along a unit vector, outward from the part's place. Going s
changes a gap by s at most, so a part that is apart from the others passes nothing by a step as
long as its gap is off; one inside another takes steps of a fifth of its smallest size. What is then
bracketed, Brent's method finds (scipy.optimize.brentq).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array, BoolArray
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.simulation.system import System

CLEAR = 1e-7
"""Gap [m] that is left: rounding of a typed pose must not become an overlap."""

ACCURACY = 1e-9
"""How exactly a gap is met [m]."""

FARTHEST = 4.0
"""How far [m] from the part something is looked for."""

STEP = 0.2
"""Step out of an overlap, and shortest of all, as a share of the part's smallest size."""


def set_down(system: System, body: int, place: Place, on: int | None = None) -> Place:
    """Return the place straight below (or above, out of an overlap) where the body just touches.

    `on` is the number of the body that carries it; by default the first that lies under it, magnets
    left out. Raises InputError where nothing lies under it.
    """
    constraints = Constraints(system, body)
    carries = constraints.others == on
    if on is None:
        carries = np.array([not system.bodies[int(i)].is_magnet for i in constraints.others], bool)
    size = float(np.linalg.norm(system.gravity))
    down = system.gravity / size if size > 0 else np.array([0.0, 0.0, -1.0])
    found = at_gap(constraints, place, down, carries, CLEAR)
    if found is None:
        what = "nothing lies" if on is None else f'"{system.bodies[on].name}" does not lie'
        raise InputError(
            f'{what} under "{constraints.body.name}" to set it down on',
            file=system.file or None,
            key="pose",
        )
    return found


def at_gap(
    constraints: Constraints,
    place: Place,
    way: Array,
    counted: BoolArray,
    wanted: float,
    *,
    both: bool = False,
) -> Place | None:
    """Return the first place along `way` (3,), a unit vector, with the smallest gap to the bodies
    `counted` (of `constraints.others`) as wanted [m]; None up to `FARTHEST`.

    Too near, the part goes back, too far, ahead; with `both`, to whichever is nearer.
    """

    def there(s: float) -> Place:
        return Place(place.position + s * way, place.quaternion)

    def left(s: float) -> float:
        return float(constraints.gaps(there(s))[counted].min(initial=np.inf)) - wanted

    now = left(0.0)
    if abs(now) < ACCURACY:
        return place
    shortest = STEP * float(constraints.body.shape.extents.min())
    sides = (-1, 1) if both else (1 if now > 0 else -1,)
    ends = _crossing(left, now, sides, shortest, wanted)
    return there(float(brentq(left, *ends, xtol=ACCURACY))) if ends else None


def _crossing(
    left: Callable[[float], float],
    start: float,
    sides: Sequence[int],
    shortest: float,
    wanted: float,
) -> tuple[float, float] | None:
    """Two ways, in order, between which what is `left` (`start` at 0) changes its sign first."""
    ends = dict.fromkeys(sides, (0.0, start))
    while ends:
        side = min(ends, key=lambda k: abs(ends[k][0]))
        s, now = ends.pop(side)
        apart = now + wanted > 0
        further = s + side * max(shortest, abs(now) if apart else 0.0)
        if abs(further) > FARTHEST:
            continue
        ends[side] = further, left(further)
        if (ends[side][1] > 0) != (now > 0):
            return min(s, further), max(s, further)
    return None
