"""How far friction lets a rest reach: the forces it bears, and the poses in which it holds.

At a rest nothing needs friction. Pushed along the surface by hand, the part stays until the push
exceeds what all its contacts bear, at most the sum of mu p over the normal forces p [N]; set down
beside the rest, it stays where friction can balance the load there, so a rest is a band of places.
Whether it can is decided by Coulomb's law at all contacts at once, from rest (`creep.creep_step`).
Rolling is not hindered: a part on its edge has a band along its axis only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.creep import HELD, creep_step
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.motion import towards
from snapsim.landscape.place import Place, moved

FIRST, FINEST, LAST = 1e-3, 2.5e-4, 0.25
"""First step, end of the halving, and longest way [m] along each direction."""


@dataclass(frozen=True)
class FrictionHold:
    """`sideways` [N]: the largest push along the surface that friction bears, at most. `band`: how
    far the part can be set aside, by direction ("+x"), and still be held [m]; inf past `LAST`."""

    sideways: float
    band: Mapping[str, float]


def friction_hold(
    landscape: EnergyLandscape,
    constraints: Constraints,
    place: Place,
    limits: Limits,
    multiplier: Array,
) -> FrictionHold | None:
    """Return what friction does for a rest; None where nothing touches or nothing rubs.

    `limits` and `multiplier` are those of the rest (`descent.Settled`).
    """
    count = len(limits.other)
    if not count or not np.any(limits.friction > 0):
        return None
    press = multiplier[:count]
    normal = press @ limits.normal if np.any(press > 0) else limits.normal.sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size < 1e-9:
        return None
    band = {}
    for direction in _along(normal / size):
        for sense in (1.0, -1.0):
            way = sense * direction
            band[towards(way)] = _reach(landscape, constraints, place, way)
    return FrictionHold(float(limits.friction @ press), band)


def held(landscape: EnergyLandscape, constraints: Constraints, place: Place) -> bool:
    """True where friction and contacts hold the body that is let go at a place."""
    limits = constraints.limits(place, 1e-5)
    if not len(limits.gap):
        return False
    push = creep_step(landscape, place, landscape.at(place), limits, 1e-3)
    return push.share < HELD


def _along(normal: Array) -> list[Array]:
    """Two unit directions across a normal (3,), along world axes where they can be."""
    order = np.argsort(np.abs(normal))
    first = np.eye(3)[min(order[:2])]
    first = first - (first @ normal) * normal
    first = first / np.linalg.norm(first)
    second = np.cross(normal, first)
    k = int(np.argmax(np.abs(second)))
    return [first, second * np.sign(second[k])]


def _reach(landscape: EnergyLandscape, constraints: Constraints, place: Place, way: Array) -> float:
    """How far along `way` (3,) the body is still held [m]."""
    good, step = 0.0, FIRST
    while good < LAST:
        if not _held_at(landscape, constraints, place, way, good + step):
            break
        good += step
        step *= 2
    else:
        return float("inf")
    while step > FINEST:
        step *= 0.5
        if _held_at(landscape, constraints, place, way, good + step):
            good += step
    return good


def _held_at(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, way: Array, far: float
) -> bool:
    there = constraints.restored(moved(place, np.concatenate([far * way, np.zeros(3)])), 1e-3)
    return there is not None and held(landscape, constraints, there)
