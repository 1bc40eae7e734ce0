"""The torque on a part about an axis, split into what an audience can point at.

    T = couple + uneven pull + pull x arm + weight x arm
    couple      = mu_0 sum v M x h                       turns M into the field, of all cells
    uneven pull = T_mag - couple                         the stronger-pulled end leads
    pull x arm  = (c - p) x F_mag,    weight x arm = (c - p) x m g

about the axis e through p: the component along e is given. c the centre of mass [m], v (k,) [m^3]
and M (k, 3) [A/m] of the cells, h (k, 3) [A/m] the field of everything else (magnets, other soft
parts and the background) averaged on a cell, F_mag [N], T_mag [N m] about c of the energy's
gradient. A magnet's couple is that of its uniform M. The sum of all four is the torque about the
axis whatever the split. Source: force densities of a magnetised body, Landau & Lifshitz,
Electrodynamics of Continuous Media, 2nd ed., section 35 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.magnetics.couple import couple_on


class TorqueParts(NamedTuple):
    """Torques about the axis [N m], each a number or one a pose."""

    couple: Array
    uneven_pull: Array
    pull_arm: Array
    weight_arm: Array

    @property
    def total(self) -> Array:
        """Their sum [N m]: positive turns the part further."""
        total: Array = self.couple + self.uneven_pull + self.pull_arm + self.weight_arm
        return total


def torque_parts(landscape: EnergyLandscape, place: Place, axis: Array, pivot: Array) -> Array:
    """Return the four parts (4,) of `TorqueParts` at `place`."""
    state = landscape.state(place)
    i, system = landscape.number, landscape.system
    couple = couple_on(i, system.bodies, landscape.model, landscape.pose(place), state)
    arm = place.position - pivot
    force, torque = state.force[i], state.torque[i]
    weight = landscape.mass * system.gravity
    parts = (couple, torque - couple, np.cross(arm, force), np.cross(arm, weight))
    return np.array([float(axis @ part) for part in parts])
