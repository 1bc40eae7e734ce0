"""Field lines of B: traced until they close, leave a box or grow too long.

    dx/ds = B(x)/|B(x)|,   classical Runge-Kutta steps of fixed length s

Since div B = 0 a line never ends; in a plane of mirror symmetry of the whole arrangement, with the
magnetisation in that plane, it stays in the plane. At the surface of iron or of a magnet B bends
sharply, and a step across it errs by about its length. `equal_flux_seeds` places seeds on a segment
so that the same flux, per length across the plane of drawing, passes between neighbours;
`equal_flux_grid` on a section, each seed for the same flux. Source of
the method: Press et al., Numerical Recipes, 3rd ed., section 17.1 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray

FieldFunction = Callable[[Array], Array]
"""B (k, 3) [T] at world points (k, 3) [m]."""

CLOSE = 1.5
"""Steps within which a line that comes back to its seed counts as closed."""


@dataclass(frozen=True)
class FieldLine:
    """`points` (k, 3) [m] along B, its `size` there (k,) [T]; `closed` where the end meets the
    beginning."""

    points: Array
    size: Array
    closed: bool


def trace(
    field: FieldFunction, seeds: Array, step: float, low: Array, high: Array, most: int = 2000
) -> list[FieldLine]:
    """Return one line a seed (k, 3); `step` [m]; the box has the corners `low` and `high` (3,)."""
    ahead = _run(field, seeds, step, low, high, most)
    open_ones = [k for k, (_, closed) in enumerate(ahead) if not closed]
    back = dict(zip(open_ones, _run(field, seeds[open_ones], -step, low, high, most), strict=True))
    lines = []
    for k, (points, closed) in enumerate(ahead):
        if k in back:
            points = np.vstack([back[k][0][:0:-1], points])
        size = np.linalg.norm(field(points), axis=1)
        lines.append(FieldLine(points, size, closed))
    return lines


def _run(
    field: FieldFunction, seeds: Array, step: float, low: Array, high: Array, most: int
) -> list[tuple[Array, bool]]:
    """Follow all seeds one way, those that still run together."""
    paths = [[seed] for seed in seeds]
    closed = np.zeros(len(seeds), dtype=bool)
    running, x = np.arange(len(seeds)), seeds.copy()
    for count in range(most):
        if not len(running):
            break
        x = _advance(field, x, step)
        for k, point in zip(running, x, strict=True):
            paths[k].append(point)
        home = np.linalg.norm(x - seeds[running], axis=1) < CLOSE * abs(step)
        back = home & (count > 4 * CLOSE)
        closed[running[back]] = True
        going = ~back & ((x >= low) & (x <= high)).all(axis=1)
        running, x = running[going], x[going]
    for k in np.flatnonzero(closed):
        paths[k][-1] = seeds[k]
    return [(np.array(path), bool(c)) for path, c in zip(paths, closed, strict=True)]


def _advance(field: FieldFunction, x: Array, step: float) -> Array:
    def way(at: Array) -> Array:
        b = field(at)
        size = np.linalg.norm(b, axis=1, keepdims=True)
        unit: Array = b / np.maximum(size, 1e-300)
        return unit

    one = way(x)
    two = way(x + step / 2 * one)
    three = way(x + step / 2 * two)
    four = way(x + step * three)
    return x + step / 6 * (one + 2 * two + 2 * three + four)


GRID: Final = 60
"""Places along a side of a section at which its flux is taken."""
Holding = Callable[[Array], BoolArray]
"""Which points (k, 3) belong to a section (k,)."""


def equal_flux_seeds(
    field: FieldFunction, start: Array, end: Array, across: Array, count: int
) -> Array:
    """Return points (count, 3) of a segment, equal flux through `across` (3,) between neighbours.

    The first and last are half a share from the ends.
    """
    share = (np.arange(400) + 0.5) / 400
    points = start + share[:, None] * (end - start)
    through = np.abs(field(points) @ across)
    total = np.concatenate([[0.0], np.cumsum(through)])
    wanted = (np.arange(count) + 0.5) / count * total[-1]
    where = np.interp(wanted, total, np.linspace(0, 1, len(total)))
    return np.asarray(start + where[:, None] * (end - start))


def equal_flux_grid(
    field: FieldFunction, corner: Array, sides: Array, across: Array, held: Holding, rows: int
) -> Array:
    """Return `rows` x `rows` points (rows^2, 3) of what is `held` of a parallelogram, each standing
    for the same flux through `across` (3,): strips of equal flux, each cut into pieces of equal
    flux, a point in the middle of each. `corner` (3,) and `sides` (2, 3) [m] say where it is."""
    share = (np.arange(GRID) + 0.5) / GRID
    u, v = np.meshgrid(share, share, indexing="ij")
    points = corner + u.reshape(-1, 1) * sides[0] + v.reshape(-1, 1) * sides[1]
    through = np.abs(field(points) @ across) * held(points)
    flux = through.reshape(GRID, GRID)
    found = []
    for k in range(rows):
        weights = _between(flux.sum(axis=1), k / rows, (k + 1) / rows)
        middle = _quantile(flux.sum(axis=1), (k + 0.5) / rows)
        strip = weights @ flux
        found += [(middle, _quantile(strip, (n + 0.5) / rows)) for n in range(rows)]
    return np.array([corner + a * sides[0] + b * sides[1] for a, b in found])


def _quantile(through: Array, share: float) -> float:
    """Where along 0..1 a share of what passes through equal pieces (k,) has been."""
    total = np.concatenate([[0.0], np.cumsum(through)])
    return float(np.interp(share * total[-1], total, np.linspace(0, 1, len(total))))


def _between(through: Array, start: float, end: float) -> Array:
    """Which share (k,) of each of equal pieces lies between two shares of all."""
    total = np.concatenate([[0.0], np.cumsum(through)]) / max(float(through.sum()), 1e-300)
    inner = np.clip(total, start, end)
    found: Array = np.diff(inner) / np.maximum(np.diff(total), 1e-300)
    return found
