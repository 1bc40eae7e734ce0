"""Field lines of B with steps that fit: long in the open, short where lines bend or meet iron.

    dx/ds = B(x)/|B(x)|

by the embedded Runge-Kutta pair of order 3(2) of Bogacki and Shampine (Appl. Math. Lett. 2, 321
(1989); from memory), error per step below `tolerance`; across a surface, where the direction jumps,
steps shrink, and single ones err by up to ten times that (tested). All lines are followed
together, each with its own step: `field_lines` has fixed steps, better for one whole plane. Seeds
lie in magnets: a line has made its turn when it passes its seed again the same way, within `reach`
of it, square to its first direction. In a plane of mirror symmetry it meets the seed; elsewhere it
need not, and `miss` tells how far it passes. Lines that leave the box are followed both ways.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.magnetics.field_lines import FieldFunction

MOST = 800  # steps each way
FIRST = 0.01  # of the size: first step
LONGEST = 0.05  # of the size


@dataclass(frozen=True)
class TracedLine:
    """`ahead` (k, 3) and `back` (j, 3) [m] from the seed on, along B and against it; of a closed
    line each is one half of its turn, and `miss` [m] how far that missed its seed; nan where the
    line left the box."""

    ahead: Array
    back: Array
    miss: float

    @property
    def closed(self) -> bool:
        """Does the line make its turn inside the box?"""
        return bool(np.isfinite(self.miss))


def trace_adaptively(
    field: FieldFunction,
    seeds: Array,
    reach: Array,
    size: float,
    box: tuple[Array, Array],
    tolerance: float = 2e-4,
) -> list[TracedLine]:
    """Return one line a seed (k, 3); `reach` (k,) [m], `size` [m] of the scene, `tolerance` a share
    of it; the box has the corners `box` (3,), (3,)."""
    ahead = _follow(field, seeds, reach, 1.0, size, box, tolerance)
    open_ones = [k for k, (_, miss) in enumerate(ahead) if not np.isfinite(miss)]
    some = seeds[open_ones], reach[open_ones]
    behind = _follow(field, *some, -1.0, size, box, tolerance)
    back = dict(zip(open_ones, behind, strict=True))
    lines = []
    for k, (path, miss) in enumerate(ahead):
        if k in back:
            lines.append(TracedLine(path, back[k][0], np.nan))
        else:
            lines.append(TracedLine(*_halves(path), miss))
    return lines


def _halves(path: Array) -> tuple[Array, Array]:
    """Cut a whole turn in two at half its length, one from its beginning, one from its end."""
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    k = int(np.searchsorted(way, way[-1] / 2))
    share = (way[-1] / 2 - way[k - 1]) / (way[k] - way[k - 1])
    middle = path[k - 1] + share * (path[k] - path[k - 1])
    return np.vstack([path[:k], middle]), np.vstack([path[: k - 1 : -1], middle])


def _follow(
    field: FieldFunction,
    seeds: Array,
    reach: Array,
    sign: float,
    size: float,
    box: tuple[Array, Array],
    tolerance: float,
) -> list[tuple[Array, float]]:
    """Follow all seeds one way; returns their points and by how much they missed their seed."""
    count, smallest = len(seeds), tolerance * size
    paths = [[seed] for seed in seeds]
    miss = np.full(count, np.nan)
    x, way = seeds.copy(), sign * _unit(field, seeds)
    first, step, run = way.copy(), np.full(count, FIRST * size), np.zeros(count)
    running = np.arange(count)
    for _ in range(MOST):
        if not len(running):
            break
        r, h = running, step[running]
        new, ended, error = _try(field, x[r], way[r], h, sign)
        fine = (error <= smallest) | (h <= 1.001 * smallest)
        factor = np.clip(0.9 * np.cbrt(smallest / np.maximum(error, 1e-300)), 0.25, 2.5)
        step[r] = np.clip(factor * h, smallest, LONGEST * size)
        taken = r[fine]
        cut, home = _turned(x[taken], new[fine], seeds[taken], first[taken], reach[taken])
        home &= run[taken] > FIRST * size
        miss[taken[home]] = np.linalg.norm(cut[home] - seeds[taken[home]], axis=1)
        x[taken], way[taken] = np.where(home[:, None], cut, new[fine]), ended[fine]
        run[taken] += h[fine]
        for k in taken:
            paths[k].append(x[k].copy())
        running = np.setdiff1d(running, taken[home | _outside(x[taken], *box)])
    return [(np.array(path), float(m)) for path, m in zip(paths, miss, strict=True)]


def _try(
    field: FieldFunction, x: Array, one: Array, h: Array, sign: float
) -> tuple[Array, Array, Array]:
    """One step of each line: where it leads, the direction there, and the error (k,) [m]."""
    s = h[:, None]
    two = sign * _unit(field, x + 0.5 * s * one)
    three = sign * _unit(field, x + 0.75 * s * two)
    new = x + s * (2 * one + 3 * two + 4 * three) / 9
    four = sign * _unit(field, new)
    wrong = s * (-5 * one + 6 * two + 8 * three - 9 * four) / 72
    error: Array = np.linalg.norm(wrong, axis=1)
    return new, four, error


def _unit(field: FieldFunction, x: Array) -> Array:
    b = field(x)
    unit: Array = b / np.maximum(np.linalg.norm(b, axis=1, keepdims=True), 1e-300)
    return unit


def _turned(a: Array, b: Array, seed: Array, first: Array, reach: Array) -> tuple[Array, BoolArray]:
    """Where the segments a to b meet the planes through the seeds square to `first` (k, 3), and
    whether they pass them that way and within reach."""
    before = np.einsum("ki,ki->k", a - seed, first)
    after = np.einsum("ki,ki->k", b - seed, first)
    share = np.clip(-before / np.where(after > before, after - before, 1.0), 0, 1)
    cut = a + share[:, None] * (b - a)
    passed: BoolArray = (before < 0) & (after >= 0)
    return cut, passed & (np.linalg.norm(cut - seed, axis=1) < reach)


def _outside(x: Array, low: Array, high: Array) -> BoolArray:
    found: BoolArray = np.any((x < low) | (x > high), axis=1)
    return found
