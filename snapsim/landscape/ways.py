"""Ways in which a hand can move a part from where it is: lift, push, approach, tilt.

A way is a family of places p(s), s >= 0, p(0) the present one: displacements along a fixed
direction [m], or turns [rad] about whatever the part stands on at that angle (hub, then rim, then
the next edge: the part is set down anew at every angle and turns about its lowest contact), about
its hinge, about the point where its string is tied, or about its centre of mass where nothing holds
it. Contacts are kept; a body in the way ends the way, and `WayEnd` says so: what lies beyond was
not looked at. Along a turn by b about an axis u through a pivot p the hand's torque is

    tau = dU/db = dU/dd . (u x (x - p), u)        [N m]

positive where the hand must lift against field and weight; where it passes zero downward the part
goes on by itself. Friction at the pivot only keeps it from slipping.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import TOUCH, Constraints
from snapsim.landscape.creep import attractors
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place, moved, turned_about
from snapsim.landscape.symmetry import turns_freely
from snapsim.numerics import rotations

TURN = np.radians(1.5)
"""Step of a turn [rad]."""

NARROW = 0.01
"""Share of a step to which the last place before a body in the way is found."""

ASIDE = 0.985
"""Cosine up to which the level way to the nearest magnet is a direction of its own: 10 deg."""

HELD_BY = 1e-6
"""Size of a joint's row [1 or m] above which it holds."""

FIRST_OF_A_RAIL = 1e-3
"""Way along a rail [m] that must be free for it to be looked at."""

OFF_THE_RAIL = 2e-4
"""How far a place on a rail may be put right [m]."""

TOUCHING = 2e-6
"""Gap [m] below which a contact may be a pivot."""


class WayEnd(StrEnum):
    """Why a way goes no farther; the value stands in files, `words.ways` says it."""

    FARTHEST = "farthest"
    """As far as was meant to be looked."""
    HALF_TURN = "half a turn"
    AT_MAGNET = "at a magnet"
    """The part meets a body that attracts it."""
    BLOCKED = "blocked"
    """Another body is in the way."""
    TIED = "tied"
    """A string, a hinge's stop or a slide's end lets it go no farther."""


@dataclass(frozen=True)
class WayStop:
    """Where a way ended: why, and the number of the `body` that it met, None for none."""

    why: WayEnd
    body: int | None = None


@dataclass(frozen=True)
class PushWay:
    """A way along a `direction` (3,): `kind` lift, approach or push; as far as `longest` [m].

    On a `rail` it goes straight, and ends at the rail's stop.
    """

    kind: str
    direction: Array
    longest: float
    start: Place
    constraints: Constraints
    rail: bool = False

    def at(self, s: float) -> Place | None:
        """Return the place at s [m]; None where something is in the way."""
        there = moved(self.start, _shift(s * self.direction))
        if self.constraints.gaps(there).min(initial=np.inf) < -1e-4:
            return None
        if self.rail:
            return self.constraints.restored(there, OFF_THE_RAIL)
        tied = 0.5 * s if self.constraints.joints else 0.0
        return self.constraints.restored(there, 2e-3 + tied)

    def reach(self, steps: int) -> tuple[float, WayStop]:
        """Return how far it goes [m], looked at in steps, before something is in the way, and
        what."""
        reached, step = 0.0, self.longest / steps
        while reached < self.longest and self.at(reached + step) is not None:
            reached += step
        if reached >= self.longest:
            return self.longest, WayStop(WayEnd.FARTHEST)
        low, high = reached, min(reached + step, self.longest)
        while high - low > 1e-4:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.at(middle) is not None else (low, middle)
        return low, self.stop_at(high)

    def stop_at(self, s: float) -> WayStop:
        """Return what is in the way at s [m], where `at` has no place."""
        gaps = self.constraints.gaps(moved(self.start, _shift(s * self.direction)))
        if not len(gaps) or gaps.min() > 1e-4:
            return WayStop(WayEnd.TIED)
        body = int(self.constraints.others[int(np.argmin(gaps))])
        return WayStop(WayEnd.BLOCKED, body)


@dataclass(frozen=True)
class Footing:
    """What a part stands on while it is turned: numbers of the bodies that are the `support`, and
    `rise` (3,), the way up; without support it hangs or floats and is not set down."""

    constraints: Constraints
    support: frozenset[int]
    rise: Array

    def set_down(self, place: Place) -> Place:
        """Return the place shifted along the vertical until it just touches what it stands on."""
        if not self.support:
            return place
        mine = np.isin(self.constraints.others, list(self.support))
        for _ in range(12):
            gap = float(self.constraints.gaps(place)[mine].min())
            if 0 <= gap < TOUCH:
                break
            place = Place(place.position - (gap - 0.2 * TOUCH) * self.rise, place.quaternion)
        return place


@dataclass(frozen=True)
class TiltWay:
    """A turn about `axis` (3,): `angle` (k,) [rad] rising from 0, each a place and `pivot` (3,).

    `stop` says what it met; `footing` is what the part stands on.
    """

    axis: Array
    angle: Array
    places: tuple[Place, ...]
    pivot: Array
    stop: WayStop
    footing: Footing

    @property
    def longest(self) -> float:
        """Largest angle [rad]."""
        return float(self.angle[-1])

    def at(self, s: float) -> Place | None:
        """Return the place at an angle [rad], from the nearest one below; None past the end."""
        if s > self.longest + 1e-12:
            return None
        k = int(np.searchsorted(self.angle, s, side="right")) - 1
        if s - self.angle[k] < 1e-12:
            return self.places[k]
        turn = (s - self.angle[k]) * self.axis
        return self.footing.set_down(turned_about(self.places[k], self.pivot[k], turn))

    def pivot_at(self, s: float) -> Array:
        """Return the pivot (3,) at an angle [rad]."""
        found: Array = self.pivot[max(int(np.searchsorted(self.angle, s, side="right")) - 1, 0)]
        return found

    def torque(self, landscape: EnergyLandscape, s: float) -> float:
        """Return the hand's torque [N m] at an angle."""
        place = self.at(s)
        assert place is not None
        return float(landscape.at(place).slope @ self.motion(place, s))

    def motion(self, place: Place, s: float) -> Array:
        """Return the change of place (6,) per angle at s, where the part is at `place`."""
        arm = place.position - self.pivot_at(s)
        return np.concatenate([np.cross(self.axis, arm), self.axis])


def _shift(vector: Array) -> Array:
    """A change of place (6,) that turns nothing."""
    return np.concatenate([vector, np.zeros(3)])


def up(landscape: EnergyLandscape) -> Array:
    """Return the unit vector (3,) against gravity; +z where there is none."""
    gravity = landscape.system.gravity
    size = float(np.linalg.norm(gravity))
    return np.array([0.0, 0.0, 1.0]) if size == 0 else -gravity / size


def pushes(
    landscape: EnergyLandscape, constraints: Constraints, start: Place, farthest: float
) -> list[PushWay]:
    """Return lift, approach and four level pushes; of a part on a slide both ways along it, of one
    on a hinge none."""
    rise = up(landscape)
    if len(constraints.limits(start, 1e-6).misfit):
        return _along_rails(constraints, start, farthest, rise)
    kinds = [("lift", rise)]
    nearest = toward_nearest(landscape, constraints, start)
    if nearest is not None and nearest @ rise < 0.98:
        kinds.append(("approach", nearest))
    for axis in np.eye(3):
        level = axis - (axis @ rise) * rise
        if np.linalg.norm(level) > 0.5:
            unit = level / np.linalg.norm(level)
            kinds += [("push", unit), ("push", -unit)]
    return [PushWay(kind, way, farthest, start, constraints) for kind, way in kinds]


def rails(constraints: Constraints, place: Place) -> Array:
    """Return the directions (k, 3) in which joints let a part go without turning it."""
    rows = constraints.limits(place, 1e-6).equality[:, :3]
    _, size, axes = np.linalg.svd(rows)
    return np.asarray(axes[int(np.sum(size > HELD_BY)) :])


def turns_on_joints(constraints: Constraints, place: Place) -> bool:
    """Return whether joints let a part turn at all."""
    rows = constraints.limits(place, 1e-6).equality
    free = 6 - int(np.linalg.matrix_rank(rows, tol=HELD_BY)) if len(rows) else 6
    return free > (len(rails(constraints, place)) if len(rows) else 3)


def _along_rails(
    constraints: Constraints, start: Place, farthest: float, rise: Array
) -> list[PushWay]:
    """Both ways along each direction that joints leave; none down into what it stands on."""
    found = []
    for axis in rails(constraints, start):
        for unit in (axis, -axis):
            kind = "lift" if unit @ rise > 0.5 else "push"
            way = PushWay(kind, unit, farthest, start, constraints, rail=True)
            if way.at(FIRST_OF_A_RAIL) is not None:
                found.append(way)
    return sorted(found, key=lambda way: -float(way.direction @ rise))


def toward_nearest(
    landscape: EnergyLandscape, constraints: Constraints, start: Place
) -> Array | None:
    """Return the unit vector (3,) that closes the gap to the nearest attracting body fastest."""
    gaps = constraints.gaps(start)
    drawing = np.isin(constraints.others, list(attractors(landscape)))
    if not np.any(drawing):
        return None
    nearest = float(gaps[drawing].min())
    limits = constraints.limits(start, nearest + 1e-4)
    mine = np.isin(limits.other, list(attractors(landscape)))
    if not np.any(mine):
        i = int(constraints.others[drawing][int(np.argmin(gaps[drawing]))])
        away = start.position - landscape.system.start.pose.position[i]
    else:
        contacts = len(limits.other)
        away = limits.normal[mine][int(np.argmin(limits.gap[:contacts][mine]))]
    toward: Array = -away / np.linalg.norm(away)
    return toward


def turns(landscape: EnergyLandscape, constraints: Constraints, start: Place) -> list[TiltWay]:
    """Return the turns to be looked at, both senses about each axis; none for a free ball, nor for
    a part that its joints keep from turning."""
    if turns_freely(landscape.body) and not constraints.joints:
        return []
    if not turns_on_joints(constraints, start):
        return []
    footing = footing_at(landscape, constraints, start)
    axes = _axes(landscape, constraints, start, footing.rise)
    return [
        turn(landscape, constraints, start, sense * u, footing)
        for u in axes
        for sense in (1.0, -1.0)
    ]


def footing_at(landscape: EnergyLandscape, constraints: Constraints, start: Place) -> Footing:
    """Return what the part stands on at `start`: what it touches and is not drawn to, else, hanging
    there, the magnet: its way up is then off that. What a hinge holds stands on nothing: it would
    be set down off its hinge."""
    if len(constraints.limits(start, TOUCHING).equality):
        return Footing(constraints, frozenset(), up(landscape))
    drawing = attractors(landscape)
    touched = frozenset(constraints.touched(start, TOUCHING))
    support = touched - drawing
    if support or not touched or constraints.joints:
        return Footing(constraints, support, up(landscape))
    limits = constraints.limits(start, TOUCHING)
    off = limits.normal[: len(limits.other)].mean(axis=0)
    size = float(np.linalg.norm(off))
    if size < 0.5:
        return Footing(constraints, frozenset(), up(landscape))
    return Footing(constraints, touched, off / size)


def _axes(
    landscape: EnergyLandscape, constraints: Constraints, start: Place, rise: Array
) -> list[Array]:
    """A hinge's axis; the level line across a leaning part; else the level world axes."""
    for _, joint in constraints.joints:
        axis = joint.turning_axis
        if axis is not None:
            first = joint.bodies[0]
            pose = constraints.pose(start)
            return [axis if first < 0 else rotations.rotate(pose.quaternion[first], axis)]
    axes = [a - (a @ rise) * rise for a in np.eye(3)]
    level = [a / np.linalg.norm(a) for a in axes if np.linalg.norm(a) > 0.5]
    limits = constraints.limits(start, TOUCHING)
    toward = _level_toward_magnet(landscape, start, rise)
    if toward is not None and all(abs(toward @ a) < ASIDE for a in level):
        level.append(np.cross(rise, toward))
    if len(limits.other):
        lean = start.position - limits.point.mean(axis=0)
        lean = lean - (lean @ rise) * rise
        if np.linalg.norm(lean) > 0.05 * landscape.radius:
            across = np.cross(rise, lean)
            return [across / np.linalg.norm(across)]
    return level


def _level_toward_magnet(landscape: EnergyLandscape, start: Place, rise: Array) -> Array | None:
    """The level unit vector (3,) to the middle of the nearest attracting body; None above it."""
    centres = landscape.system.start.pose.position[sorted(attractors(landscape))]
    if not len(centres):
        return None
    way = centres[int(np.argmin(np.linalg.norm(centres - start.position, axis=1)))] - start.position
    way = way - (way @ rise) * rise
    size = float(np.linalg.norm(way))
    return None if size < 0.05 * landscape.radius else way / size


def turn(
    landscape: EnergyLandscape,
    constraints: Constraints,
    start: Place,
    axis: Array,
    footing: Footing,
) -> TiltWay:
    """Turn the part about an axis (3,) from where it is, half round or until a body is in the way.

    A part that has come to lie on another face goes on over that face's far edge.
    """
    support = footing.support
    pivot_of = _pivots(landscape, constraints, start, axis, support)
    angle, places, pivots = [0.0], [start], [pivot_of(start)]
    stop = WayStop(WayEnd.HALF_TURN)
    for k in range(1, round(np.pi / TURN) + 1):
        there = footing.set_down(turned_about(places[-1], pivots[-1], TURN * axis))
        hit, share = _hit(constraints, there, support), 1.0
        if hit is not None:
            drawn = hit in attractors(landscape)
            stop = WayStop(WayEnd.AT_MAGNET if drawn else WayEnd.BLOCKED, hit)
            there, share = _up_to(footing, places[-1], pivots[-1], axis)
        angle.append((k - 1 + share) * TURN)
        places.append(there)
        pivots.append(pivot_of(there))
        if hit is not None:
            break
    return TiltWay(axis, np.array(angle), tuple(places), np.array(pivots), stop, footing)


def _up_to(footing: Footing, place: Place, pivot: Array, axis: Array) -> tuple[Place, float]:
    """The last place of a step of the turn before something is in the way, and its share."""
    low, high, last = 0.0, 1.0, place
    while high - low > NARROW:
        middle = 0.5 * (low + high)
        there = footing.set_down(turned_about(place, pivot, middle * TURN * axis))
        if _hit(footing.constraints, there, footing.support) is None:
            low, last = middle, there
        else:
            high = middle
    return last, low


def _pivots(
    landscape: EnergyLandscape,
    constraints: Constraints,
    start: Place,
    axis: Array,
    support: frozenset[int],
) -> Callable[[Place], Array]:
    """What the part turns about, as a function of its place."""
    for _, joint in constraints.joints:
        if joint.pivots:
            side = joint.bodies.index(landscape.number)
            point = joint.points[side]
            return lambda place: place.position + rotations.rotate(place.quaternion, point)
    if not support:
        return lambda place: place.position

    def edge(place: Place) -> Array:
        limits = constraints.limits(place, TOUCHING)
        mine = np.isin(limits.other, list(support))
        if not np.any(mine):
            return place.position
        rise = np.einsum("ci,ci->c", np.cross(axis, limits.point[mine]), limits.normal[mine])
        lowest = rise < rise.min() + 1e-6
        found: Array = limits.point[mine][lowest].mean(axis=0)
        return found

    return edge


def _hit(constraints: Constraints, place: Place, support: frozenset[int]) -> int | None:
    """Number of a body in the way, not the support: what only touches is in nobody's way."""
    gaps = constraints.gaps(place)
    for gap, other in zip(gaps.tolist(), constraints.others.tolist(), strict=True):
        if other not in support and gap < -TOUCH:
            return int(other)
        if gap < -1e-4:
            return int(other)
    return None
