"""How deep bodies overlap in the frames of a run, by code that knows nothing of contacts.

Of every pair the corners of one body's drawn surface, and its straight edges clipped by the other
body's solids (Cyrus and Beck 1978, from memory), are looked for inside the other. With f_j(x) [m]
the signed distances from the planes and cylinders that bound a convex solid, negative inside,

    depth(x) = min_j -f_j(x),

and an edge's depth is taken in the middle of what lies inside: the depth is concave along it, so
that is at least half of the greatest. What is found is a lower bound of the overlap, exact for
corners inside flat faces. Curved surfaces meet by the corners of a drawing with `FINENESS` pieces
to the circle. Written apart from `mechanics.contact` so that a fault there shows here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import ConvexPolyhedron, Piece, Shape, pieces_of

FINENESS = 48
AT_ONCE = 200_000
"""Edges times poses looked at together, which bounds memory."""


@dataclass(frozen=True)
class _Solid:
    """A convex solid in a body's axes: planes n.x <= d as `normal` (m, 3) and `offset` (m,); a ball
    or a round wall of `radius` about `centre` (and `axis`), and a `bore` through it; 0 for none."""

    normal: Array
    offset: Array
    centre: Array
    axis: Array
    radius: float
    bore: float
    is_ball: bool

    def depth(self, x: Array) -> Array:
        """Return how deep points (..., 3) lie inside [m], negative outside."""
        found = np.full(x.shape[:-1], np.inf)
        for n, d in zip(self.normal, self.offset, strict=True):
            found = np.minimum(found, d - x @ n)
        if self.radius > 0 or self.bore > 0:
            away = x - self.centre
            if not self.is_ball:
                away = away - (away @ self.axis)[..., None] * self.axis
            r = np.sqrt((away**2).sum(axis=-1))
            if self.radius > 0:
                found = np.minimum(found, self.radius - r)
            if self.bore > 0:
                found = np.minimum(found, r - self.bore)
        return found

    def stretch(self, a: Array, b: Array) -> tuple[Array, Array]:
        """Return shares (...,) of edges a to b (..., 3) between which planes and walls hold them.

        The bore is left to `depth`.
        """
        low, high, along = np.zeros(a.shape[:-1]), np.ones(a.shape[:-1]), b - a
        with np.errstate(divide="ignore", invalid="ignore"):
            for n, d in zip(self.normal, self.offset, strict=True):
                rate, room = along @ n, d - a @ n
                t = room / rate
                high = np.where(rate > 0, np.minimum(high, t), high)
                low = np.where(rate < 0, np.maximum(low, t), low)
                low = np.where((rate == 0) & (room < 0), 2.0, low)
            if self.radius > 0:
                p, u = a - self.centre, along
                if not self.is_ball:
                    p = p - (p @ self.axis)[..., None] * self.axis
                    u = u - (u @ self.axis)[..., None] * self.axis
                square, half = (u * u).sum(axis=-1), (p * u).sum(axis=-1)
                left = self.radius**2 - (p * p).sum(axis=-1)
                root = np.sqrt(half**2 + square * left)
                outside = np.where(square > 0, np.isnan(root), left < 0)
                still = square == 0
                low = np.where(still, low, np.fmax(low, (-half - root) / square))
                high = np.where(still, high, np.fmin(high, (-half + root) / square))
                low = np.where(outside, 2.0, low)
        return low, high


@dataclass(frozen=True)
class _Drawn:
    """A body's surface and solids in its own axes: `corners` (k, 3) [m], `edges` (m, 2, 3) that lie
    on the surface, `reach` [m]."""

    corners: Array
    edges: Array
    solids: tuple[_Solid, ...]
    reach: float

    def depth(self, x: Array) -> Array:
        """Return how deep points (..., 3) lie in the deepest of the solids [m]."""
        deepest: Array = np.max([solid.depth(x) for solid in self.solids], axis=0)
        return deepest


def deepest_overlap(
    bodies: Sequence[Body], position: Array, quaternion: Array
) -> tuple[float, int]:
    """Return the deepest overlap [m] of two bodies at any of the poses, and at which; 0 if none.

    `position` (k, n, 3) [m] and `quaternion` (k, n, 4) of n bodies. Of two fixed bodies none is
    looked for.
    """
    drawn: dict[int, _Drawn] = {}
    for i, body in enumerate(bodies):
        same = next((j for j in drawn if bodies[j].shape is body.shape), None)
        drawn[i] = _drawn(body.shape) if same is None else drawn[same]
    turns = rotations.matrix(quaternion)
    worst, at = 0.0, 0
    for a in range(len(bodies)):
        for b in range(len(bodies)):
            if a == b or (bodies[a].fixed and bodies[b].fixed):
                continue
            depth = _into(drawn[a], drawn[b], (position, turns), (a, b))
            if len(depth) and depth.max() > worst:
                worst, at = float(depth.max()), int(depth.argmax())
    return worst, at


def _into(one: _Drawn, other: _Drawn, poses: tuple[Array, Array], pair: tuple[int, int]) -> Array:
    """How deep the first body of a pair reaches into the second at each pose (k,) [m]."""
    (position, turn), (a, b) = poses, pair
    apart = np.linalg.norm(position[:, a] - position[:, b], axis=1)
    near = np.flatnonzero(apart < one.reach + other.reach)
    found = np.zeros(len(position))
    size = max(1, AT_ONCE // max(len(one.corners) + len(one.edges), 1))
    for start in range(0, len(near), size):
        k = near[start : start + size]
        into = np.swapaxes(turn[k, b], 1, 2) @ turn[k, a]
        shift = np.einsum("kji,kj->ki", turn[k, b], position[k, a] - position[k, b])
        found[k] = np.maximum(_corners_in(one, other, into, shift), 0.0)
        found[k] = np.maximum(found[k], _edges_in(one, other, into, shift))
    return found


def _corners_in(one: _Drawn, other: _Drawn, turn: Array, shift: Array) -> Array:
    points = one.corners @ np.swapaxes(turn, 1, 2) + shift[:, None]
    depth: Array = other.depth(points).max(axis=1)
    return depth


def _edges_in(one: _Drawn, other: _Drawn, turn: Array, shift: Array) -> Array:
    """The deepest middle of what lies inside of an edge, at each pose (k,) [m]."""
    found = np.zeros(len(turn))
    if not len(one.edges):
        return found
    a, b = (one.edges[:, i] @ np.swapaxes(turn, 1, 2) + shift[:, None] for i in (0, 1))
    for solid in other.solids:
        low, high = solid.stretch(a, b)
        inside = np.argwhere(low < high)
        if len(inside):
            k, m = inside.T
            share = 0.5 * (low[k, m] + high[k, m])[:, None]
            depth = solid.depth(a[k, m] + share * (b[k, m] - a[k, m]))
            np.maximum.at(found, k, depth)
    return found


def _drawn(shape: Shape) -> _Drawn:
    corners, triangles = shape.surface(FINENESS)
    solids = tuple(_solid(piece) for piece in pieces_of(shape))
    reach = float(np.linalg.norm(corners, axis=1).max())
    bare = _Drawn(corners, np.zeros((0, 2, 3)), solids, reach)
    corners = corners[np.abs(bare.depth(corners)) < 1e-9 * reach]  # on the surface, not in a seam
    ends = _edges(shape.surface(FINENESS)[0], triangles)
    middle = ends.mean(axis=1)
    straight = np.abs(bare.depth(middle)) < 1e-9 * reach
    return _Drawn(corners, ends[straight], solids, reach)


def _edges(corners: Array, triangles: IntArray) -> Array:
    """The edges (m, 2, 3) of a triangulation, each once, without those inside a flat face."""
    across = np.cross(
        corners[triangles[:, 1]] - corners[triangles[:, 0]],
        corners[triangles[:, 2]] - corners[triangles[:, 0]],
    )
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-300)
    owner: dict[tuple[int, int], int] = {}
    kept = []
    for k, triangle in enumerate(triangles.tolist()):
        for i in range(3):
            key = (min(triangle[i], triangle[i - 1]), max(triangle[i], triangle[i - 1]))
            if key not in owner:
                owner[key] = k
            elif across[owner[key]] @ across[k] < 1.0 - 1e-9:
                kept.append(key)
    return corners[np.array(kept, dtype=np.int64).reshape(-1, 2)]


def _solid(piece: Piece) -> _Solid:
    """The planes and walls of a simple solid, in the body's axes."""
    shape, outline = piece.shape, piece.shape.outline
    normal, offset, radius, bore, is_ball = np.zeros((0, 3)), np.zeros(0), 0.0, 0.0, False
    if isinstance(shape, ConvexPolyhedron):
        normal = np.array([_across(shape.corners[loop]) for loop in shape.loops])
        first = np.array([shape.corners[loop[0]] for loop in shape.loops])
        offset = (normal * first).sum(axis=1)
    elif outline is None:
        radius, is_ball = float(shape.extents[0]), True
    else:
        side = np.roll(outline.polygon, -1, axis=0) - outline.polygon
        wall = np.stack([side[:, 1], -side[:, 0], np.zeros(len(side))], axis=1)
        wall /= np.linalg.norm(wall, axis=1, keepdims=True)
        offset = (wall[:, :2] * outline.polygon).sum(axis=1)
        normal = np.concatenate([wall, [[0, 0, 1.0], [0, 0, -1.0]]])
        offset = np.append(offset, [outline.half_length] * 2)
        radius = 0.0 if len(outline.polygon) else outline.radius
        bore = outline.bore_radius
    normal = normal @ piece.turn.T
    axis = piece.turn[:, 2]
    return _Solid(
        normal, offset + normal @ piece.position, piece.position, axis, radius, bore, is_ball
    )


def _across(corners: Array) -> Array:
    """The unit normal (3,) of a flat loop of corners (k, 3), counter-clockwise from outside."""
    total = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
    unit: Array = total / np.linalg.norm(total)
    return unit
