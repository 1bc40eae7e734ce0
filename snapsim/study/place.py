"""Placing a body at a given gap from another, so that a what-if can turn it without overlap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape import spacing
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place, with_one_at
from snapsim.landscape.ways import TOUCHING
from snapsim.simulation.system import System
from snapsim.study.placement import Placement


def set_down(system: System, body: int, on: str | None) -> System:
    """Return the system with a body set down on the one called `on`; None: the same."""
    if on is None:
        return system
    support = system.number(on, "--on")
    return _with(system, body, spacing.set_down(system, body, _place(system, body), support))


def stands_at(system: System, body: int) -> Array:
    """Return the point (3,) [m] in the middle of what the body touches; its centre for nothing."""
    place = _place(system, body)
    found = Constraints(system, body).limits(place, TOUCHING).point
    return found.mean(axis=0) if len(found) else place.position


def shifted_to(system: System, body: int, point: Array, on: str | None) -> System:
    """Return the system with a body that was set down shifted level so that it stands at `point`
    (3,), and set down again."""
    rise = -system.gravity / max(float(np.linalg.norm(system.gravity)), 1e-300)
    way = point - stands_at(system, body)
    place = _place(system, body)
    level = Place(place.position + way - (way @ rise) * rise, place.quaternion)
    return set_down(_with(system, body, level), body, on)


def placed(system: System, placement: Placement) -> System:
    """Return the system with one body moved; raises InputError where no place fits."""
    body, other = (system.number(name, "place") for name in (placement.body, placement.to))
    constraints, way = Constraints(system, body), np.array(placement.direction)
    counted = constraints.others == other
    place = _place(system, body)
    found = spacing.at_gap(constraints, place, way, counted, placement.gap, both=True)
    if found is None:
        gap = f"{1e3 * placement.gap:.4g} mm"
        raise InputError(
            f'no place along the way has a gap of {gap} to "{placement.to}"',
            key=f"place.{placement.body}",
        )
    return _with(system, body, found)


def _place(system: System, body: int) -> Place:
    pose = system.start.pose
    return Place(pose.position[body], pose.quaternion[body])


def _with(system: System, body: int, place: Place) -> System:
    """The system with a body moved."""
    pose = with_one_at(system.start.pose, body, place)
    return replace(system, start=replace(system.start, pose=pose))
