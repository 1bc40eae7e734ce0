"""The push that makes a resting part slip, tip or roll, and where it then goes along a pole.

A level push P [N] at the centre of mass, along the surface that the part lies on, is borne until no
contact forces within Coulomb's cones balance field, weight and push (`creep.creep_step`, from
rest): the least such P is found by halving, on two meshes, and the first motion says whether the
part slides, tips or rolls. Closed form of a block on a table: it slides at mu N, and tips instead
where b/h < mu, at N b/h (b its width along the push, h its height).

A part at a magnet is then followed along the pole, set against it at each place: the largest push
that it takes, from where on it goes on by itself, and where a slow fall from there ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import HELD, CreepFate, CreepSettings, creep, creep_step
from snapsim.landscape.energy import EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place
from snapsim.landscape.thresholds import RefinedQuantity, Ways
from snapsim.landscape.ways import TOUCHING, Footing, footing_at

STEP: Final = 1e-4
"""Step [m] of the first motion."""

FINEST: Final = 2e-3
"""Share of a push to which it is found."""

PLACES: Final = 16
"""Places looked at along a pole."""

OFF: Final = 1e-3
"""How far [m] off the face's plane a part has left it."""


RISING: Final = 0.1
"""Share of its first motion by which the centre rises where a part tips."""

DRAGGED: Final = 0.1
"""Share of the centre's motion below which a contact is not dragged along: the part rolls."""


class Begins(StrEnum):
    """How a pushed part begins to move; the value stands in files."""

    SLIDES = "slides"
    TIPS = "tips"
    ROLLS = "rolls"


@dataclass(frozen=True)
class AlongPole:
    """What a part pushed along a pole does: the largest push `peak` [N] and where, `peak_at` [m];
    `goes_on` [m], the first place looked at that needs none, None where all did; then its `fate`
    in a slow fall from there, the names of what it `reaches` and how far along the direction from
    where it began it `ends` [m]; `searched` [m], and whether it `leaves` the face there."""

    peak: float
    peak_at: float
    goes_on: float | None
    fate: CreepFate | None
    reaches: str
    ends: float
    searched: float
    leaves: bool


@dataclass(frozen=True)
class Slip:
    """A push along `direction` (3,): the least `force` [N] that moves the part, how the motion
    `begins`, the bodies `on` which it lies; `then`, for a part at a magnet."""

    direction: Array
    force: RefinedQuantity
    begins: Begins
    on: tuple[str, ...]
    then: AlongPole | None = None

    @property
    def least(self) -> float:
        """The push [N] at which it may begin: error bar taken off."""
        return max(self.force.value - self.force.error, 0.0)


def slips(ways: Ways) -> tuple[Slip, ...]:
    """Return the push that moves the part along each of four level directions, the least first;
    none for a part that touches nothing, hangs on a joint that keeps a direction, or moves."""
    constraints, place = ways.constraints, ways.place
    if len(constraints.limits(place, 1e-6).misfit) or push_to_move(ways.fine, constraints, place):
        return ()
    footing = footing_at(ways.fine, constraints, place)
    if not footing.support:
        return ()
    names = tuple(ways.system.bodies[i].name for i in sorted(footing.support))
    found = []
    for axis in _level(footing.rise):
        for direction in (axis, -axis):
            rough, near = (
                least_push(x, constraints, place, direction) for x in (ways.coarse, ways.fine)
            )
            if rough is None or near is None:
                continue
            then = _along(ways, footing, direction) if ways.at_magnet() else None
            push = 1.05 * near * direction
            begins = first_motion(ways.fine, constraints, place, push, footing.rise)
            found.append(Slip(direction, ways.quantity(rough, near), begins, names, then))
    return tuple(sorted(found, key=lambda one: one.least))


def push_to_move(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, push: Array | None = None
) -> bool:
    """Return whether the part, at rest, begins to move under a push (3,) [N] at its centre."""
    level = _pushed(landscape.at(place), np.zeros(3) if push is None else push)
    limits = constraints.limits(place, 1e-5)
    return creep_step(landscape, place, level, limits, STEP).share >= HELD


def least_push(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, direction: Array
) -> float | None:
    """Return the least push [N] along a direction that moves the part; None for none to a thousand
    times its weight and pull."""
    level, limits = landscape.at(place), constraints.limits(place, 1e-5)

    def moves(push: float) -> bool:
        there = _pushed(level, push * direction)
        return creep_step(landscape, place, there, limits, STEP).share >= HELD

    size = float(np.linalg.norm(level.force)) + landscape.mass * float(
        np.linalg.norm(landscape.system.gravity)
    )
    low, high = 0.0, 1e-3 * size
    while not moves(high):
        low, high = high, 2 * high
        if high > 1e3 * size:
            return None
    while high - low > FINEST * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if moves(middle) else (middle, high)
    return high


def first_motion(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, push: Array, rise: Array
) -> Begins:
    """Return how the part begins to move under a push (3,) [N]; `rise` (3,) is the way up."""
    limits = constraints.limits(place, 1e-5)
    level = _pushed(landscape.at(place), push)
    d = creep_step(landscape, place, level, limits, STEP).d
    shift = float(np.linalg.norm(d[:3]))
    if d[:3] @ rise > RISING * shift:
        return Begins.TIPS
    points = limits.point[: len(limits.other)] - place.position
    dragged = np.linalg.norm(d[:3] + np.cross(d[3:], points), axis=1)
    return Begins.ROLLS if dragged.min(initial=np.inf) < DRAGGED * shift else Begins.SLIDES


def _pushed(level: EnergyLevel, push: Array) -> EnergyLevel:
    """The level with a push (3,) [N] at the centre of mass on top of field and weight."""
    return replace(level, slope=level.slope - np.concatenate([push, np.zeros(3)]))


def _level(rise: Array) -> list[Array]:
    """Two unit directions across the way up, along world axes where they can be."""
    first = np.eye(3)[int(np.argmin(np.abs(rise)))]
    first = first - (first @ rise) * rise
    first = first / np.linalg.norm(first)
    second = np.cross(rise, first)
    k = int(np.argmax(np.abs(second)))
    return [first, second * np.sign(second[k])]


def _along(ways: Ways, footing: Footing, direction: Array) -> AlongPole:
    """Follow the part along the pole until it needs no push or leaves the face."""
    part = ways.fine.body.shape.extents
    magnets = [ways.system.bodies[i].shape.extents for i in footing.support]
    reach = 0.5 * float(max(m.max() for m in magnets)) + 0.5 * float(part.max())
    peak, peak_at, last = 0.0, 0.0, 0.0
    for s in np.linspace(0.0, reach, PLACES + 1).tolist()[1:]:
        there = _set_against(ways, footing, s * direction)
        if there is None:
            return AlongPole(peak, peak_at, None, None, "", last, last, leaves=True)
        if push_to_move(ways.fine, ways.constraints, there):
            return _gone_on(ways, there, (peak, peak_at), s, direction)
        push = least_push(ways.fine, ways.constraints, there, direction)
        if push is not None and push > peak:
            peak, peak_at = push, s
        last = s
    return AlongPole(peak, peak_at, None, None, "", last, last, leaves=False)


def _set_against(ways: Ways, footing: Footing, shift: Array) -> Place | None:
    """The place shifted along the pole and set against it; None off the face or without room."""
    start = ways.place
    there = footing.set_down(Place(start.position + shift, start.quaternion))
    if abs(float((there.position - start.position) @ footing.rise)) > OFF:
        return None
    gaps = ways.constraints.gaps(there)
    touches = np.isin(ways.constraints.others, list(footing.support))
    if gaps.min(initial=0.0) < -TOUCHING or gaps[touches].min(initial=np.inf) > OFF:
        return None
    limits = ways.constraints.limits(there, 1e-5)
    along = limits.normal[: len(limits.other)] @ footing.rise
    return there if along.size and along.max() > 0.9 else None


def _gone_on(
    ways: Ways, there: Place, peak: tuple[float, float], s: float, direction: Array
) -> AlongPole:
    settings = CreepSettings(ways.settings.longest, ways.settings.far)
    found = creep(ways.fine, ways.constraints, there, settings)
    struck = "" if found.struck is None else ways.system.bodies[found.struck].name
    if not struck and found.fate == "stays":
        touched = ways.constraints.touched(found.place, TOUCHING)
        struck = " and ".join(ways.system.bodies[i].name for i in sorted(touched))
    ends = float((found.place.position - ways.place.position) @ direction)
    return AlongPole(*peak, s, found.fate, struck, ends, s, leaves=False)
