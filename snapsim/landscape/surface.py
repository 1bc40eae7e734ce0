"""Energy over two coordinates of a part: how far it is turned and how high it is lifted.

E(b, h) of the part turned by b [rad] where it stands (`tilt_curve`: both senses of one of
`ways.turns`) and then lifted by h [m] straight up, weight included; NaN where it would be inside
another body. A walk over this surface is one way of many: the part may also shift, or turn about
other axes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError, label
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import OVERLAP
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.tilt_curve import both_senses
from snapsim.landscape.ways import up
from snapsim.work.progress import Progress

TURNS: Final = 33
"""Angles looked at, at most."""

WIDEST: Final = np.radians(90.0)
"""How far it is turned either way [rad] at most."""

RISES: Final = 15
"""Heights looked at."""

LONGEST: Final = 0.3
"""Lift [m] at most where nothing is above."""


@dataclass(frozen=True)
class EnergySurface:
    """Over `angle` (a,) [rad] and `rise` (b,) [m]: `energy` (b, a) [J] above the present pose's,
    NaN without room."""

    angle: Array
    rise: Array
    energy: Array


def energy_surface(
    landscape: EnergyLandscape,
    constraints: Constraints,
    axis: int = 0,
    progress: Progress | None = None,
) -> EnergySurface:
    """Return the surface about the `axis`-th of the axes that `ways.turns` finds, from 0; raises
    InputError for an axis that is not there and where there is no room to lift the part."""
    turns = both_senses(landscape, constraints, axis)
    inner = np.flatnonzero(np.abs(turns.angle) <= WIDEST)
    first, last, now = int(inner[0]), int(inner[-1]), int(np.argmin(np.abs(turns.angle)))
    every = max(1, -(-len(inner) // TURNS))
    chosen = sorted({*range(now, first - 1, -every), *range(now, last + 1, every)})
    rise, way = _heights(landscape, constraints), up(landscape)
    base = landscape.at(landscape.start).energy
    energy = np.full((len(rise), len(chosen)), np.nan)
    for k, at in enumerate(chosen):
        if progress is not None:
            progress("energy over tilt and lift", k, len(chosen))
        for j, h in enumerate(rise.tolist()):
            place = Place(turns.places[at].position + h * way, turns.places[at].quaternion)
            if constraints.gaps(place).min(initial=np.inf) < -OVERLAP:
                break
            energy[j, k] = landscape.at(place).energy - base
    return EnergySurface(turns.angle[chosen], rise, energy)


def _heights(landscape: EnergyLandscape, constraints: Constraints) -> Array:
    """Heights up to where the part as it is meets something."""
    way, reach, step = up(landscape), 0.0, 1e-3
    while reach < LONGEST:
        there = Place(landscape.start.position + (reach + step) * way, landscape.start.quaternion)
        if constraints.gaps(there).min(initial=np.inf) < -OVERLAP:
            break
        reach += step
    if reach < 2 * step:
        raise InputError(
            "there is no room to lift it: nothing to draw",
            key=f"body.{label(landscape.body.name)}",
        )
    return np.linspace(0.0, reach, RISES)
