"""How near the edges of magnets come to a part, measured in its cells.

At an edge of a magnet its field is singular (a logarithm), and the force on iron there varies over
the distance to the edge. Cells that are no smaller than that distance d don't follow it: with the
edge l = (V/c)^(1/3) of a part of volume V in c cells, the error of a force falls with the square of
the cells' size where d > l, about in proportion to it where d < l (`refinement`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.charged_surface import CIRCLE, surface_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose

NEAR: Final = 3.0
"""Cells' edges from a cell's centre beyond which the centre's distance is distance enough."""


def rims(body: Body) -> Array:
    """Return the edges (e, 8) of a body, its own axes: rows of `charged_surface`."""
    return surface_of(body.shape).edges


def rim_over_cell(cells: CellMesh, part: int, magnets: Mapping[int, Array], pose: Pose) -> float:
    """Return d / l of body number `part`; infinite without an edge.

    d is taken from the points of `cells` that average the field. `magnets` are the `rims` of other
    bodies by number.
    """
    edge, least = float(np.cbrt(cells.volume.mean())), float("inf")
    for i, rows in magnets.items():
        if i == part or not len(rows):
            continue
        away = _seen_from(cells.centre, part, i, pose)
        centres = _to_edges(away, rows)
        close = centres < NEAR * edge
        if not close.any():
            least = min(least, float(centres.min()))
            continue
        points = _seen_from(cells.points[close].reshape(-1, 3), part, i, pose)
        least = min(least, float(_to_edges(points, rows).min()))
    return least / edge


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
