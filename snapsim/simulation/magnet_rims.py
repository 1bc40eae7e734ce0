"""How near the edges of magnets come to a part, measured in its cells.

At an edge of a magnet its field is singular (a logarithm), and the force on iron there varies over
the distance to the edge. Cells that are no smaller than that distance d don't follow it: with the
edge l = (V/c)^(1/3) of a part of volume V in c cells, the error of a force falls with the square of
the cells' size where d > l, about in proportion to it where d < l (`refinement`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from snapsim.arrays import Array
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.charged_surface import CIRCLE, surface_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose

ALONG: Final = 400
"""Points along each edge; their spacing on a 200 mm circle is 1.6 mm."""

NEAR: Final = 3.0
"""Cells' edges from a cell's centre beyond which the nearest centre is distance enough."""


def rims(body: Body) -> Array:
    """Return points (k, 3) [m] along the edges of a body, its own axes."""
    t = np.linspace(0.0, 1.0, ALONG)[:, None]
    found = [np.empty((0, 3))]
    for kind, *row in surface_of(body.shape).edges.tolist():
        a, b, radius = np.array(row[:3]), np.array(row[3:6]), row[6]
        if kind == CIRCLE:
            u = np.cross(b, np.eye(3)[np.argmin(np.abs(b))])
            u /= np.linalg.norm(u)
            angle = 2 * np.pi * t
            found.append(a + radius * (np.cos(angle) * u + np.sin(angle) * np.cross(b, u)))
        else:
            found.append(a + t * (b - a))
    return np.concatenate(found)


def rim_over_cell(cells: CellMesh, part: int, magnets: dict[int, Array], pose: Pose) -> float:
    """Return d / l of body number `part`; infinite without an edge.

    `cells` with many points each (`product_rule`): d is taken to the nearest of these. `magnets`
    are the `rims` of other bodies by number.
    """
    edge, least = float(np.cbrt(cells.volume.mean())), float("inf")
    for i, rim in magnets.items():
        if i == part or not len(rim):
            continue
        world = rotations.rotate(pose.quaternion[i], rim) + pose.position[i]
        here = rotations.rotate_back(pose.quaternion[part], world - pose.position[part])
        least = min(least, _nearest(cells, here, NEAR * edge))
    return least / edge


def _nearest(cells: CellMesh, rim: Array, near: float) -> float:
    """Distance [m] of the nearest of points (k, 3) to the cells; beyond `near` to their centres."""
    apart = np.linalg.norm(rim[:, None] - cells.centre, axis=2)
    if apart.min() > near:
        return float(apart.min())
    close = cells.points[(apart < near).any(axis=0)].reshape(-1, 3)
    points = rim[(apart < near).any(axis=1)]
    return min(float(np.linalg.norm(close - p, axis=1).min()) for p in points)
