"""Whether triangles bound a solid: closed, oriented alike, not crossing themselves.

Closed and oriented: every directed edge is met once by its opposite. Crossing: an edge of one
triangle passes through the interior of another (Moller & Trumbore, J. Graphics Tools 2, 21 (1997);
from memory); surfaces that only touch are let pass.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray

THIN = 1e-6
"""Least volume over the box's, and least size over the largest, of a solid."""


def complaints(corners: Array, triangles: IntArray, most: int) -> list[str]:
    """Return what is wrong, one line, or nothing. `corners` (n, 3) [m], `triangles` (m, 3)."""
    if len(triangles) > most:
        return [f"has {len(triangles)} triangles; at most {most} are allowed, thin it out first"]
    if len(triangles) < 4 or not np.isfinite(corners).all():
        return ["is no solid: at least 4 triangles with finite corners are needed"]
    for check in (_flat, _edges, _volume, _crossing, _shells):
        found = check(corners, triangles)
        if found:
            return [found]
    return []


def _flat(corners: Array, triangles: IntArray) -> str | None:
    size = np.ptp(corners[triangles].reshape(-1, 3), axis=0)
    if size.min() <= THIN * size.max():
        return "has no thickness; a closed surface round a volume is needed"
    return None


def _edges(corners: Array, triangles: IntArray) -> str | None:
    """Every directed edge must have exactly one opposite."""
    edge = np.concatenate([triangles[:, [i, (i + 1) % 3]] for i in range(3)])
    number = edge[:, 0] * len(corners) + edge[:, 1]
    opposite = edge[:, 1] * len(corners) + edge[:, 0]
    count = np.unique(np.minimum(number, opposite), return_counts=True)[1]
    if (count == 1).any():
        return f"is open: {int((count == 1).sum())} edges have a triangle on one side only"
    if (count > 2).any():
        return f"is no single surface: at {int((count > 2).sum())} edges over two triangles meet"
    if len(np.unique(number)) != len(number):
        return "has triangles turned both ways; all must be wound alike, seen from outside"
    return None


def _volume(corners: Array, triangles: IntArray) -> str | None:
    p = corners[triangles] - corners.mean(axis=0)
    volume = np.einsum("fi,fi->", p[:, 0], np.cross(p[:, 1], p[:, 2])) / 6
    if abs(volume) <= THIN * float(np.prod(np.ptp(corners, axis=0))):
        return "encloses no volume"
    return None


def _shells(corners: Array, triangles: IntArray) -> str | None:
    """One piece: every triangle can be reached from the first across corners."""
    label = np.arange(len(corners))
    while True:
        lowest = label[triangles].min(axis=1)
        before = label.copy()
        for i in range(3):
            np.minimum.at(label, triangles[:, i], lowest)
        if (label == before).all():
            break
    shells = len(np.unique(label[triangles[:, 0]]))
    if shells > 1:
        return f"has {shells} separate surfaces; one is allowed, for several use a compound"
    return None


def _crossing(corners: Array, triangles: IntArray) -> str | None:
    """Edges of one triangle through the inside of another that shares no corner with it."""
    p = corners[triangles]
    low, high = p.min(axis=1), p.max(axis=1)
    order = np.argsort(low[:, 0], kind="stable")
    start = low[order, 0]
    for k in range(len(order)):
        f = order[k]
        last = int(np.searchsorted(start, high[f, 0], side="right"))
        near = order[k + 1 : last]
        near = near[((low[near] <= high[f]) & (high[near] >= low[f])).all(axis=1)]
        near = near[~np.isin(triangles[near], triangles[f]).any(axis=1)]
        if not len(near):
            continue
        if _pierces(p[f][None], p[near]).any() or _pierces(p[near], p[f][None]).any():
            return "crosses itself; a solid's surface must not"
    return None


def _pierces(one: Array, other: Array) -> Array:
    """Does an edge of `one` (m or 1, 3, 3) pass strictly through `other` (m or 1, 3, 3)?"""
    u, v = other[:, 1] - other[:, 0], other[:, 2] - other[:, 0]
    found = np.zeros(max(len(one), len(other)), dtype=bool)
    for i in range(3):
        start, along = one[:, i], one[:, (i + 1) % 3] - one[:, i]
        h = np.cross(along, v)
        det = np.einsum("mi,mi->m", u, h)
        size = np.linalg.norm(u, axis=1) * np.linalg.norm(v, axis=1)
        sound = np.abs(det) > 1e-9 * size * np.linalg.norm(along, axis=1)
        safe = np.where(sound, det, 1.0)
        s = start - other[:, 0]
        q = np.cross(s, u)
        a = np.einsum("mi,mi->m", s, h) / safe
        b = np.einsum("mi,mi->m", along, q) / safe
        t = np.einsum("mi,mi->m", v, q) / safe
        e = 1e-6
        found |= sound & (a > e) & (b > e) & (a + b < 1 - e) & (t > e) & (t < 1 - e)
    return found
