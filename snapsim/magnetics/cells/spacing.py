"""Where the nodes of a line of cells stand, and how many cells a length is cut into.

Near an edge of highly permeable iron the magnetisation varies fast, so cells shrink toward the
surface: u(t) = (1 - g) t + g sin(pi t / 2) for t = i / n, with grading g from 0 (uniform) to 1
(cells at the surface shrink as 1 / n^2).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells.layout import Divisions


def toward_end(n: int, grading: float) -> Array:
    """Return n + 1 nodes on [0, 1], crowded toward 1."""
    t = np.arange(n + 1) / n
    nodes: Array = (1 - grading) * t + grading * np.sin(np.pi / 2 * t)
    nodes[0], nodes[-1] = 0.0, 1.0
    return nodes


def toward_both_ends(n: int, grading: float) -> Array:
    """Return n + 1 nodes on [0, 1], crowded toward 0 and 1 alike."""
    t = np.arange(n + 1) / n
    nodes: Array = (1 - grading) * t + grading * (1 - np.cos(np.pi * t)) / 2
    nodes[0], nodes[-1] = 0.0, 1.0
    return nodes


def fitted(
    divide: Callable[[float], Divisions], cells: Callable[[Divisions], int], target: float
) -> Divisions:
    """Return the divisions whose number of cells is nearest to `target` in ratio.

    `divide(h)` gives the divisions for cells of size h [m]; the search runs over h from coarse to
    fine until the target is passed.
    """
    low, high = 1e-9, 1e9
    for _ in range(120):
        middle = np.sqrt(low * high)
        if cells(divide(middle)) >= target:
            low = middle
        else:
            high = middle
    above, below = divide(low), divide(high)
    nearer_above = cells(above) * cells(below) <= target * target
    return above if nearer_above else below


def at_least(minimum: int, length: float, h: float) -> int:
    """Return how many cells of size h fit along `length`, no fewer than `minimum`."""
    return max(minimum, min(round(length / h), 10**6))
