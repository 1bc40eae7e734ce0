"""Gaps, contact points and normals of all bodies at a pose: the door to this folder.

The gap of a pair is the distance of the two surfaces less the pair's air gap (coating, tape) [m];
where they overlap, minus the depth. Normals point from the second body of a pair into the first:
with n the normal and v the velocities of the two surface points, d(gap)/dt = n . (v_a - v_b). The
shapes are taken as rigid and perfectly sharp. Methods and sources: `solids`, `polyhedron`,
`curves`, `nearest`, `overlap`, `touching`, `union`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray, as_floats
from snapsim.mechanics.contact.touching import (
    CONTACT_SIZE,
    DISTANCE,
    MIDDLE,
    MOST_CONTACTS,
    NORMAL_AT,
)
from snapsim.mechanics.contact.union import (
    Pieces,
    pair_bound,
    pair_contacts,
    pair_gap,
    pieces_table,
    placed,
)
from snapsim.numerics.compilation import compiled
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Piece
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfaceRules

_EVERY: Final = slice(None)


@dataclass(frozen=True)
class ContactSet:
    """Contacts in a fixed order, pair by pair.

    `pair` (c, 2) body indices a < b; `point` (c, 3) [m] world, midway between the two surfaces;
    `normal` (c, 3) unit, from b into a; `gap` (c,) [m], less the pair's air gap.
    """

    pair: IntArray
    point: Array
    normal: Array
    gap: Array

    def __len__(self) -> int:
        return len(self.gap)

    def only(self, chosen: BoolArray) -> ContactSet:
        """Return the chosen contacts (c,) alone."""
        pair, point, normal, gap = self.fields
        return ContactSet(pair[chosen], point[chosen], normal[chosen], gap[chosen])

    @property
    def where(self) -> tuple[IntArray, Array]:
        """`pair` and `point`."""
        return self.pair, self.point

    @property
    def places(self) -> tuple[IntArray, Array, Array]:
        """`pair`, `point` and `normal`."""
        return self.pair, self.point, self.normal

    @property
    def fields(self) -> tuple[IntArray, Array, Array, Array]:
        """`pair`, `point`, `normal` and `gap`."""
        return self.pair, self.point, self.normal, self.gap


class ContactGeometry:
    """The shapes of all bodies, made ready: `pairs` (p, 2), a < b, at least one of them free."""

    pairs: IntArray

    def __init__(self, bodies: Sequence[Body], rules: SurfaceRules) -> None:
        n = len(bodies)
        chosen = [
            (a, b)
            for a in range(n)
            for b in range(a + 1, n)
            if not (bodies[a].fixed and bodies[b].fixed)
        ]
        self.pairs = np.array(chosen, dtype=np.int64).reshape(-1, 2)
        self._air = np.array([rules.pair(a, b).air_gap for a, b in chosen], dtype=np.float64)
        self._pieces = pieces_table([body.shape for body in bodies])

    def gaps(self, pose: Pose, chosen: IntArray | slice = _EVERY) -> Array:
        """Return the gap of every pair (p,) [m] or of those `chosen`, exact to rounding.

        Of a body made of pieces an overlap is the deepest of two pieces'.
        """
        pairs, air = self.pairs[chosen], self._air[chosen]
        return _gaps(self._pieces, pairs, *_arrays(pose), np.inf) - air

    def depth(self, pose: Pose) -> float:
        """Return how deep the deepest overlap is [m]; zero where nothing overlaps."""
        return -float(self._low_gaps(pose).min(initial=0.0))

    def touches(self, pose: Pose) -> bool:
        """Return whether any gap is zero or less; cheaper than the gaps."""
        return bool(self._low_gaps(pose).min(initial=np.inf) <= 0.0)

    def _low_gaps(self, pose: Pose) -> Array:
        """Gaps (p,) [m] of pairs that touch or overlap; lower bounds above zero of most others."""
        beyond = float(self._air.max(initial=0.0))
        return _gaps(self._pieces, self.pairs, *_arrays(pose), beyond) - self._air

    def gap_bounds(self, pose: Pose) -> Array:
        """Return lower bounds of the gaps (p,) [m], some ten times cheaper."""
        return _bounds(self._pieces, self.pairs, *_arrays(pose)) - self._air

    def contacts(self, pose: Pose, reach: float) -> ContactSet:
        """Return all contacts with a gap below `reach` [m]."""
        return ContactSet(*_contacts(self._pieces, self.pairs, self._air, *_arrays(pose), reach))


def gap_between(one: Piece, other: Piece) -> float:
    """Return the gap [m] of two solids placed in common axes; minus the depth of an overlap."""
    pieces = pieces_table([one.shape, other.shape])
    turns = np.stack([one.turn, other.turn])
    return float(_gap_of_two(pieces, turns, np.stack([one.position, other.position])))


def separation_rate(pose: Pose, velocity: Array, spin: Array, contacts: ContactSet) -> Array:
    """Return d(gap)/dt (c,) [m/s] at each contact, negative while closing.

    `velocity` (n, 3) [m/s] of the centres of mass and `spin` (n, 3) [rad/s], world axes.
    """
    where = contacts.pair, contacts.point, contacts.normal
    return gap_rates(as_floats(pose.position), as_floats(velocity), as_floats(spin), *where)


def _arrays(pose: Pose) -> tuple[Array, Array]:
    return as_floats(pose.position), as_floats(pose.quaternion)


@compiled
def gap_rates(
    position: Array, velocity: Array, spin: Array, pair: IntArray, point: Array, normal: Array
) -> Array:
    """Return d(gap)/dt (c,) [m/s] as `separation_rate` does."""
    rates = np.zeros(len(pair))
    for c in range(len(pair)):
        for side in range(2):
            i, sign = pair[c, side], 1.0 - 2.0 * side
            x, y, z = spin[i, 0], spin[i, 1], spin[i, 2]
            u, v = point[c, 0] - position[i, 0], point[c, 1] - position[i, 1]
            w = point[c, 2] - position[i, 2]
            rates[c] += sign * (
                normal[c, 0] * (velocity[i, 0] + y * w - z * v)
                + normal[c, 1] * (velocity[i, 1] + z * u - x * w)
                + normal[c, 2] * (velocity[i, 2] + x * v - y * u)
            )
    return rates


@compiled
def _matrices(quaternion: Array) -> Array:
    """Rotation matrices (n, 3, 3), body to world; a quaternion of other than unit length serves."""
    turns = np.empty((len(quaternion), 3, 3))
    for i in range(len(quaternion)):
        w, x, y, z = quaternion[i]
        s = 2.0 / (w * w + x * x + y * y + z * z)
        turns[i, 0] = 1 - s * (y * y + z * z), s * (x * y - w * z), s * (x * z + w * y)
        turns[i, 1] = s * (x * y + w * z), 1 - s * (x * x + z * z), s * (y * z - w * x)
        turns[i, 2] = s * (x * z - w * y), s * (y * z + w * x), 1 - s * (x * x + y * y)
    return turns


@compiled
def _gaps(
    pieces: Pieces, pairs: IntArray, position: Array, quaternion: Array, beyond: float
) -> Array:
    """Gaps (p,), but lower bounds of those that are found larger than `beyond` [m] that way."""
    at, gaps = placed(pieces, _matrices(quaternion), position), np.empty(len(pairs))
    for k in range(len(pairs)):
        if beyond < np.inf:
            gaps[k] = pair_bound(pieces, at, pairs[k, 0], pairs[k, 1])
            if gaps[k] > beyond:
                continue
        gaps[k] = pair_gap(pieces, at, pairs[k, 0], pairs[k, 1])
    return gaps


@compiled
def _gap_of_two(pieces: Pieces, turns: Array, position: Array) -> float:
    return pair_gap(pieces, placed(pieces, turns, position), 0, 1)


@compiled
def _bounds(pieces: Pieces, pairs: IntArray, position: Array, quaternion: Array) -> Array:
    at, bounds = placed(pieces, _matrices(quaternion), position), np.empty(len(pairs))
    for k in range(len(pairs)):
        bounds[k] = pair_bound(pieces, at, pairs[k, 0], pairs[k, 1])
    return bounds


@compiled
def _contacts(
    pieces: Pieces,
    pairs: IntArray,
    air: Array,
    position: Array,
    quaternion: Array,
    reach: float,
) -> tuple[IntArray, Array, Array, Array]:
    """Fields of a contact set."""
    at = placed(pieces, _matrices(quaternion), position)
    rows, total = np.empty((MOST_CONTACTS, CONTACT_SIZE)), 0
    numbers = np.empty(MOST_CONTACTS, dtype=np.int64)
    for k in range(len(pairs)):
        a, b, near = pairs[k, 0], pairs[k, 1], reach + air[k]
        x, y = position[a, 0] - position[b, 0], position[a, 1] - position[b, 1]
        z = position[a, 2] - position[b, 2]
        if sqrt(x * x + y * y + z * z) - pieces.reach[a] - pieces.reach[b] >= near:
            continue
        if pair_bound(pieces, at, a, b) >= near:
            continue
        first = total
        total += pair_contacts(pieces, at, a, b, near, rows[first:])
        for c in range(first, total):
            numbers[c] = k
    return _fields(pairs, air, numbers, rows, total)


@compiled
def _fields(
    pairs: IntArray, air: Array, numbers: IntArray, rows: Array, count: int
) -> tuple[IntArray, Array, Array, Array]:
    pair, gap = np.empty((count, 2), dtype=np.int64), np.empty(count)
    point, normal = np.empty((count, 3)), np.empty((count, 3))
    for c in range(count):
        gap[c] = rows[c, DISTANCE] - air[numbers[c]]
        for i in range(2):
            pair[c, i] = pairs[numbers[c], i]
        for i in range(3):
            point[c, i], normal[c, i] = rows[c, MIDDLE + i], rows[c, NORMAL_AT + i]
    return pair, point, normal, gap
