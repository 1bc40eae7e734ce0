"""How near the edges of magnets come to a part, measured in its cells.

At an edge of a magnet its field is singular (a logarithm), and the force on iron there varies over
the distance to the edge. Cells that are no smaller than that distance d don't follow it: with the
edge l = (V/c)^(1/3) of a part of volume V in c cells, the error of a force falls with the square of
the cells' size where d > l, about in proportion to it where d < l (`refinement`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.charged_surface import CIRCLE, surface_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose

NEAR: Final = 3.0
"""Cells' edges from a cell's centre beyond which the centre's distance is distance enough."""

MISSED: Final = 0.9
"""What `Nearness.missed` is for a part as coarse as its magnet is large, an edge of which touches
it: a disc of cells of 6 mm on a magnet of 22 mm was 56 % low, 20 % more than twice the step between
two meshes."""


@dataclass(frozen=True)
class Rims:
    """The edges (e, 8) of a body, its own axes, rows of `charged_surface`; `size` [m] is the edge
    of a cube of its volume."""

    rows: Array
    size: float


@dataclass(frozen=True)
class Nearness:
    """Of one part: `rim` is d / l, infinite without an edge; `missed` the share of its force that
    cells as coarse beside the magnet may miss however two meshes agree."""

    rim: float
    missed: float

    @property
    def clear(self) -> bool:
        """Is every edge farther than a cell is long?"""
        return self.rim > 1


@lru_cache(maxsize=64)
def _rims(shape: Shape) -> Rims:
    return Rims(surface_of(shape).edges, float(np.cbrt(shape.volume)))


def rims(body: Body) -> Rims:
    """Return the edges of a body."""
    return _rims(body.shape)  # type: ignore[arg-type]


def nearness(cells: CellMesh, part: int, magnets: Mapping[int, Rims], pose: Pose) -> Nearness:
    """Return how near edges come to body number `part`.

    d is taken from the points of `cells` that average the field. `magnets` are the `rims` of other
    bodies by number.
    """
    edge, least, missed = float(np.cbrt(cells.volume.mean())), float("inf"), 0.0
    for i, found in magnets.items():
        if i == part or not len(found.rows):
            continue
        rim = _distance(cells, edge, part, i, found.rows, pose) / edge
        least = min(least, rim)
        missed = max(missed, MISSED * edge / found.size * max(1 - rim, 0.0))
    return Nearness(least, min(missed, 1.0))


def _distance(
    cells: CellMesh, edge: float, part: int, magnet: int, rows: Array, pose: Pose
) -> float:
    """d [m]; beyond `NEAR` edges of a cell to the cells' centres."""
    centres = _to_edges(_seen_from(cells.centre, part, magnet, pose), rows)
    close = centres < NEAR * edge
    if not close.any():
        return float(centres.min())
    points = _seen_from(cells.points[close].reshape(-1, 3), part, magnet, pose)
    return float(_to_edges(points, rows).min())


def _seen_from(points: Array, part: int, other: int, pose: Pose) -> Array:
    """Points (k, 3) of one body in the axes of another."""
    world = rotations.rotate(pose.quaternion[part], points) + pose.position[part]
    return rotations.rotate_back(pose.quaternion[other], world - pose.position[other])


def _to_edges(points: Array, rows: Array) -> Array:
    """Distance (k,) [m] of each point to the nearest of the edges."""
    least = np.full(len(points), np.inf)
    for row in rows:
        a, b, radius = row[1:4], row[4:7], row[7]
        arm = points - a
        if row[0] == CIRCLE:
            up = arm @ b
            out = np.sqrt(np.maximum(np.einsum("ki,ki->k", arm, arm) - up**2, 0.0))
            apart = np.hypot(out - radius, up)
        else:
            along = b - a
            share = np.clip(arm @ along / (along @ along), 0.0, 1.0)
            apart = np.linalg.norm(arm - share[:, None] * along, axis=1)
        np.minimum(least, apart, out=least)
    return least
