"""Ways in which a hand can move a part from where it is: lift, push, approach, tilt.

A way is a family of places p(s), s >= 0, p(0) the present one: displacements along a fixed
direction [m], or turns [rad] about the edge on which the part stands (going over to the next edge
where that touches), about its hinge, about the point where its string is tied, or about its centre
of mass where nothing holds it. Contacts are kept, overlaps end the way. Along a turn by b about an
axis u through a pivot p the hand's torque is

    tau = dU/db = dU/dd . (u x (x - p), u)        [N m]

positive where the hand must lift against field and weight; where it passes zero downward the part
goes on by itself. Friction at the pivot only keeps it from slipping.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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

FACE = 0.5
"""Width of a support over the body's size from which the part has come to lie on a face."""

TOUCHING = 2e-6
"""Gap [m] below which a contact may be a pivot."""


@dataclass(frozen=True)
class PushWay:
    """A way along a `direction` (3,): `kind` lift, approach or push; as far as `longest` [m]."""

    kind: str
    direction: Array
    longest: float
    start: Place
    constraints: Constraints

    def at(self, s: float) -> Place | None:
        """Return the place at s [m]; None where something is in the way."""
        shift = np.concatenate([s * self.direction, np.zeros(3)])
        there = moved(self.start, shift)
        if self.constraints.gaps(there).min(initial=np.inf) < -1e-4:
            return None
        tied = 0.5 * s if self.constraints.joints else 0.0
        return self.constraints.restored(there, 2e-3 + tied)


@dataclass(frozen=True)
class TiltWay:
    """A turn about `axis` (3,): `angle` (k,) [rad] rising from 0, each a place and `pivot` (3,).

    `ended` says what it met: "a face", a body's name, or "half a turn".
    """

    axis: Array
    angle: Array
    places: tuple[Place, ...]
    pivot: Array
    ended: str

    @property
    def longest(self) -> float:
        """Largest angle [rad]."""
        return float(self.angle[-1])

    def at(self, s: float) -> Place | None:
        """Return the place at an angle [rad], from the nearest one below; None past the end."""
        if s > self.longest + 1e-12:
            return None
        k = int(np.searchsorted(self.angle, s, side="right")) - 1
        turn = (s - self.angle[k]) * self.axis
        return turned_about(self.places[k], self.pivot[k], turn)

    def pivot_at(self, s: float) -> Array:
        """Return the pivot (3,) at an angle [rad]."""
        found: Array = self.pivot[max(int(np.searchsorted(self.angle, s, side="right")) - 1, 0)]
        return found

    def torque(self, landscape: EnergyLandscape, s: float) -> float:
        """Return the hand's torque [N m] at an angle."""
        place = self.at(s)
        assert place is not None
        arm = place.position - self.pivot_at(s)
        change = np.concatenate([np.cross(self.axis, arm), self.axis])
        return float(landscape.at(place).slope @ change)


def up(landscape: EnergyLandscape) -> Array:
    """Return the unit vector (3,) against gravity; +z where there is none."""
    gravity = landscape.system.gravity
    size = float(np.linalg.norm(gravity))
    return np.array([0.0, 0.0, 1.0]) if size == 0 else -gravity / size


def pushes(
    landscape: EnergyLandscape, constraints: Constraints, start: Place, farthest: float
) -> list[PushWay]:
    """Return lift, approach and four level pushes; none for a part on a hinge or a slide."""
    if len(constraints.limits(start, 1e-6).misfit):
        return []
    rise = up(landscape)
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
    """Return the turns to be looked at, both senses about each axis; none for a free ball."""
    if turns_freely(landscape.body) and not constraints.joints:
        return []
    axes = _axes(landscape, constraints, start)
    return [turn(landscape, constraints, start, sense * u) for u in axes for sense in (1.0, -1.0)]


def _axes(landscape: EnergyLandscape, constraints: Constraints, start: Place) -> list[Array]:
    """A hinge's axis; the level line across a leaning part; else the level world axes."""
    for _, joint in constraints.joints:
        axis = joint.turning_axis
        if axis is not None:
            first = joint.bodies[0]
            pose = constraints.pose(start)
            return [axis if first < 0 else rotations.rotate(pose.quaternion[first], axis)]
    rise = up(landscape)
    axes = [a - (a @ rise) * rise for a in np.eye(3)]
    level = [a / np.linalg.norm(a) for a in axes if np.linalg.norm(a) > 0.5]
    limits = constraints.limits(start, TOUCHING)
    if len(limits.other):
        lean = start.position - limits.point.mean(axis=0)
        lean = lean - (lean @ rise) * rise
        if np.linalg.norm(lean) > 0.05 * landscape.radius:
            across = np.cross(rise, lean)
            return [across / np.linalg.norm(across)]
    return level


def turn(
    landscape: EnergyLandscape, constraints: Constraints, start: Place, axis: Array
) -> TiltWay:
    """Turn the part about an axis (3,) from where it is until it meets something."""
    support = frozenset(constraints.touched(start, TOUCHING)) - attractors(landscape)
    pivot_of = _pivots(landscape, constraints, start, axis, support)
    angle, places, pivots, ended = [0.0], [start], [pivot_of(start)], "half a turn"
    for k in range(1, int(np.pi / TURN) + 1):
        pivot = pivots[-1]
        there = turned_about(places[-1], pivot, TURN * axis)
        there = _set_down(constraints, there, support, up(landscape))
        hit = _hit(constraints, there, support)
        if hit is not None:
            ended = landscape.system.bodies[hit].name
            break
        angle.append(k * TURN)
        places.append(there)
        pivots.append(pivot_of(there))
        if k > 1 and support and _on_face(landscape, constraints, there, axis):
            ended = "a face"
            break
    return TiltWay(axis, np.array(angle), tuple(places), np.array(pivots), ended)


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


def _set_down(
    constraints: Constraints, place: Place, support: frozenset[int], rise: Array
) -> Place:
    """The place shifted along the vertical until it just touches what it stands on."""
    if not support:
        return place
    mine = np.isin(constraints.others, list(support))
    for _ in range(12):
        gap = float(constraints.gaps(place)[mine].min())
        if 0 <= gap < TOUCH:
            break
        place = Place(place.position - (gap - 0.2 * TOUCH) * rise, place.quaternion)
    return place


def _hit(constraints: Constraints, place: Place, support: frozenset[int]) -> int | None:
    """Number of a body in the way, not the support."""
    gaps = constraints.gaps(place)
    for gap, other in zip(gaps.tolist(), constraints.others.tolist(), strict=True):
        if other not in support and gap < 0:
            return int(other)
        if gap < -1e-4:
            return int(other)
    return None


def _on_face(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, axis: Array
) -> bool:
    """True where the support is wide across the axis: the part lies on another face.

    Looked for within the next step of the turn, which would tip it over that face's far edge.
    """
    reach = 2 * float(landscape.body.shape.extents.max()) * TURN
    limits = constraints.limits(place, reach)
    if len(limits.other) < 2:
        return False
    across = np.cross(axis, limits.normal.mean(axis=0))
    spread = limits.point @ across
    return float(spread.max() - spread.min()) > FACE * 2 * landscape.radius
