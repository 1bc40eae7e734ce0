"""The energy and torque of a part tilted where it stands: both senses of a turn on one curve.

The turn is one of `ways.turns`: about the edge it stands on, its hinge, its string's end or its
centre. Angles count from the present pose; the curve ends where the part meets something.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import AngleCurve, angle_curve
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.ways import TiltWay, turns


@dataclass(frozen=True)
class BothSenses:
    """Both senses of a turn about `axis` (3,): `angle` (k,) [rad] rising through 0, with `places`
    and `pivot` (k, 3) [m]; `ahead` and `back` are the ways that it is made of."""

    axis: Array
    angle: Array
    places: list[Place]
    pivot: Array
    ahead: TiltWay
    back: TiltWay


def both_senses(landscape: EnergyLandscape, constraints: Constraints, axis: int = 0) -> BothSenses:
    """Return the turn about the `axis`-th of the axes that `ways.turns` finds, counted from 0.

    Raises InputError for an axis that is not there.
    """
    found = turns(landscape, constraints, landscape.start)
    count = len(found) // 2
    if not 0 <= axis < count:
        raise InputError(f"{axis + 1} is no axis; there are {count} to turn about", key="--axis")
    ahead, back = found[2 * axis], found[2 * axis + 1]
    angles = np.concatenate([-back.angle[:0:-1], ahead.angle])
    places = [*back.places[:0:-1], *ahead.places]
    pivots = np.concatenate([back.pivot[:0:-1], ahead.pivot])
    return BothSenses(ahead.axis, angles, places, pivots, ahead, back)


def tilt_curve(
    landscape: EnergyLandscape,
    constraints: Constraints,
    axis: int = 0,
    progress: Callable[[str, int, int], None] | None = None,
) -> AngleCurve:
    """Return the curve of `both_senses`; raises InputError as that does."""
    whole = both_senses(landscape, constraints, axis)
    tick = None if progress is None else lambda done, of: progress("tilting", done, of)
    return angle_curve(
        landscape, constraints, whole.axis, whole.angle, whole.places, whole.pivot, tick
    )
