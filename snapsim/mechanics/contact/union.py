"""Bodies as unions of simple solids: their gaps, and which of the pieces' contacts are real.

The gap of two bodies is the least gap of their pieces: exact while they are apart; where they
overlap, the deepest overlap of two pieces, a lower bound of the depth of the whole. A contact of
two pieces counts for the bodies where the normal leads out of both: with x the point on one body's
surface, n its normal there and e a hair, the nearest point of the whole body to x + e n must be x.
So nothing catches on the seam between two pieces that make one flat face. In a re-entrant corner
the test fails at the corner itself and holds a hair away from it, toward the other body, so that
place is tried too. The same step is used by general-purpose engines against "internal edges"
(common practice, no source).
"""

from __future__ import annotations

from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.contact.overlap import (
    HAIR,
    PERPENDICULAR,
    clearance,
    gap_of,
    into_body,
)
from snapsim.mechanics.contact.solids import REACH, signed_distance, solid_rows
from snapsim.mechanics.contact.touching import (
    CONTACT_SIZE,
    DISTANCE,
    MIDDLE,
    MOST_CONTACTS,
    NORMAL_AT,
    add,
    contacts_of,
)
from snapsim.numerics.compilation import bare, compiled, part_of_caller
from snapsim.numerics.copying import copy
from snapsim.parts.shapes import Shape, pieces_of

TOO_DEEP = 1e-4
"""Depth, relative to the smaller piece, beyond which a contact is compared with the overlap."""

ASIDE = 10.0
"""How far from a corner the second trial is made, in hairs."""


class Pieces(NamedTuple):
    """The pieces of n bodies: `first` (n + 1,) piece of each body; `rows` (p, k) of the solids;
    `shift` (p, 3) [m] and `turn` (p, 3, 3), piece to body; `reach` (n,) [m] of each body."""

    first: IntArray
    rows: Array
    shift: Array
    turn: Array
    reach: Array


class Placed(NamedTuple):
    """Where the pieces are: `turn` (p, 3, 3), piece to world, and `centre` (p, 3) [m]."""

    turn: Array
    centre: Array


def pieces_table(shapes: list[Shape]) -> Pieces:
    """Return the pieces of all bodies."""
    parts = [pieces_of(shape) for shape in shapes]
    every = [piece for some in parts for piece in some]
    rows = solid_rows([piece.shape for piece in every])
    first = np.cumsum([0, *map(len, parts)]).astype(np.int64)
    shift = np.array([p.position for p in every], dtype=np.float64).reshape(-1, 3)
    far = np.linalg.norm(shift, axis=1) + rows[:, REACH]
    reach = np.array([far[a:b].max() for a, b in pairwise(first)])
    turn = np.array([p.turn for p in every], dtype=np.float64).reshape(-1, 3, 3)
    return Pieces(first, rows, shift, turn, reach)


@compiled
def placed(pieces: Pieces, turns: Array, position: Array) -> Placed:
    """Return the pieces at the bodies' `turns` (n, 3, 3) and `position` (n, 3)."""
    turn, centre = np.empty_like(pieces.turn), np.empty_like(pieces.shift)
    for i in range(len(pieces.first) - 1):
        for p in range(pieces.first[i], pieces.first[i + 1]):
            for r in range(3):
                centre[p, r] = position[i, r]
                for k in range(3):
                    centre[p, r] += turns[i, r, k] * pieces.shift[p, k]
                    turn[p, r, k] = 0.0
                    for c in range(3):
                        turn[p, r, k] += turns[i, r, c] * pieces.turn[p, c, k]
    return Placed(turn, centre)


@part_of_caller
def pair_gap(pieces: Pieces, at: Placed, a: int, b: int) -> float:
    """Return the signed gap [m] of bodies a and b."""
    rows, best = pieces.rows, np.inf
    one = pieces.first[a + 1] - pieces.first[a] + pieces.first[b + 1] - pieces.first[b] == 2
    for p in range(pieces.first[a], pieces.first[a + 1]):
        for q in range(pieces.first[b], pieces.first[b + 1]):
            offset = at.centre[p] - at.centre[q]
            if not one:
                if _apart(offset) - rows[p, REACH] - rows[q, REACH] >= best:
                    continue
                if best < np.inf and piece_bound(pieces, at, p, q) >= best:
                    continue
            best = min(best, gap_of(rows[p], rows[q], at.turn[p], at.turn[q], offset))
    return best


@compiled
def pair_bound(pieces: Pieces, at: Placed, a: int, b: int) -> float:
    """Return a lower bound of the gap [m] of bodies a and b."""
    best = np.inf
    for p in range(pieces.first[a], pieces.first[a + 1]):
        for q in range(pieces.first[b], pieces.first[b + 1]):
            best = min(best, piece_bound(pieces, at, p, q))
    return best


@compiled
def piece_bound(pieces: Pieces, at: Placed, p: int, q: int) -> float:
    """Return a lower bound of the gap [m] of two pieces."""
    offset = at.centre[p] - at.centre[q]
    one, two = pieces.rows[p], pieces.rows[q]
    return max(
        _bound(one, two, at.turn[p], at.turn[q], offset),
        _bound(two, one, at.turn[q], at.turn[p], -offset),
    )


@bare
def _apart(offset: Array) -> float:
    return sqrt(offset[0] ** 2 + offset[1] ** 2 + offset[2] ** 2)


@compiled
def _bound(a: Array, b: Array, turn_a: Array, turn_b: Array, offset: Array) -> float:
    """Distance of A's centre from B less A's reach, or the clearance along that direction."""
    x, y, z = into_body(turn_b, offset)
    d, gx, gy, gz = signed_distance(b, x, y, z)
    n = np.empty(3)
    for i in range(3):
        n[i] = turn_b[i, 0] * gx + turn_b[i, 1] * gy + turn_b[i, 2] * gz
    clear = clearance(a, b, turn_a, turn_b, offset, n)
    return float(max(clear, d - a[REACH]) if d > a[REACH] else clear)


@part_of_caller
def pair_contacts(pieces: Pieces, at: Placed, a: int, b: int, reach: float, rows: Array) -> int:
    """Write the contacts of bodies a and b with a gap below `reach` into `rows`, world axes.

    Returns how many there are.
    """
    solids, total = pieces.rows, 0
    single = pieces.first[a + 1] - pieces.first[a] + pieces.first[b + 1] - pieces.first[b] == 2
    own = rows if single else np.empty((MOST_CONTACTS, CONTACT_SIZE))
    for p in range(pieces.first[a], pieces.first[a + 1]):
        for q in range(pieces.first[b], pieces.first[b + 1]):
            offset = at.centre[p] - at.centre[q]
            if _apart(offset) - solids[p, REACH] - solids[q, REACH] >= reach:
                continue
            if piece_bound(pieces, at, p, q) >= reach:
                continue
            count = contacts_of(solids[p], solids[q], at.turn[p], at.turn[q], offset, reach, own)
            own[:count, :3] += at.centre[q]
            count = _no_deeper(pieces, at, p, q, offset, own, count)
            if single:
                return count
            hair = HAIR * min(solids[p, REACH], solids[q, REACH])
            for k in range(count):
                if _leads_out(pieces, at, a, p, b, q, own[k], hair):
                    total = add(rows, 0, total, own[k], 10 * hair)
    return total


@compiled
def _no_deeper(
    pieces: Pieces, at: Placed, p: int, q: int, offset: Array, rows: Array, count: int
) -> int:
    """Drop contacts of two pieces far deeper than the pieces overlap; returns how many are left.

    A curve that runs through the other piece to its far side can end there as if it touched.
    """
    one, two = pieces.rows[p], pieces.rows[q]
    size, deepest, kept = min(one[REACH], two[REACH]), 0.0, 0
    for k in range(count):
        deepest = min(deepest, rows[k, DISTANCE])
    if deepest > -TOO_DEEP * size:
        return count
    cut = 4.0 * min(gap_of(one, two, at.turn[p], at.turn[q], offset), 0.0) - TOO_DEEP * size
    for k in range(count):
        if rows[k, DISTANCE] >= cut:
            if kept < k:
                copy(rows[k], rows[kept])
            kept += 1
    return kept


@compiled
def _leads_out(
    pieces: Pieces, at: Placed, a: int, p: int, b: int, q: int, row: Array, hair: float
) -> bool:
    """Does the contact's normal lead out of both bodies?"""
    n, half = row[NORMAL_AT:DISTANCE], 0.5 * row[DISTANCE]
    on_a, on_b = row[MIDDLE:NORMAL_AT] + half * n, row[MIDDLE:NORMAL_AT] - half * n
    return _is_outer(pieces, at, a, p, on_a, -n, at.centre[q], hair) and _is_outer(
        pieces, at, b, q, on_b, n, at.centre[p], hair
    )


@compiled
def _is_outer(
    pieces: Pieces,
    at: Placed,
    body: int,
    own: int,
    x: Array,
    n: Array,
    toward: Array,
    hair: float,
) -> bool:
    """Is x the nearest point of the body to x + hair n, there or a little toward `toward`?"""
    if pieces.first[body + 1] - pieces.first[body] == 1:
        return True
    if _is_nearest(pieces, at, body, own, x + hair * n, hair):
        return True
    aside = toward - x
    aside -= (aside[0] * n[0] + aside[1] * n[1] + aside[2] * n[2]) * n
    size = _apart(aside)
    if size <= hair:
        return False
    return _is_nearest(pieces, at, body, own, x + hair * n + ASIDE * hair / size * aside, hair)


@compiled
def _is_nearest(pieces: Pieces, at: Placed, body: int, own: int, x: Array, hair: float) -> bool:
    """Is x a hair above its own piece, and no other piece of the body nearer?"""
    if abs(_distance(pieces, at, own, x) - hair) > PERPENDICULAR * hair:
        return False
    for k in range(pieces.first[body], pieces.first[body + 1]):
        if k == own or _apart(x - at.centre[k]) - pieces.rows[k, REACH] > hair:
            continue
        if _distance(pieces, at, k, x) < (1.0 - PERPENDICULAR) * hair:
            return False
    return True


@compiled
def _distance(pieces: Pieces, at: Placed, k: int, x: Array) -> float:
    """Signed distance [m] of a world point from piece k."""
    px, py, pz = into_body(at.turn[k], x - at.centre[k])
    return float(signed_distance(pieces.rows[k], px, py, pz)[0])
