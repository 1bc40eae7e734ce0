"""Bodies cut open toward the viewer: a part that flies through a pipe would be hidden by it.

In the drawing only. Cut is what stands still, hides what is in it, is no magnet, and into whose box
the leading part comes; the half toward the viewer is left away, along the body's z axis, which is
that of pipes and rings.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pyvista as pv

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.simulation.system import System

LEAST = 0.2  # of the direction to the viewer that must lie across the body's z axis


def enclosing(system: System, pose: Pose, path: Array) -> Collection[int]:
    """Return numbers of the bodies that are drawn cut: a part's centre passes `path` (s, 3) [m]."""
    found = []
    for i, body in enumerate(system.bodies):
        if body.fixed and not body.is_magnet and palette.look_of(body.material).opacity == 1:
            own = rotations.rotate_back(pose.quaternion[i], path - pose.position[i])
            if bool(np.any(np.all(np.abs(own) < body.shape.extents, axis=-1))):
                found.append(i)
    return tuple(found)


def toward(quaternion: Array, back: Array) -> Array | None:
    """Return the direction (3,), in body axes, of the half to leave away for a viewer in the
    direction `back` (3,); None for one who looks along the z axis."""
    way = rotations.rotate_back(quaternion, back) * [1.0, 1.0, 0.0]
    size = float(np.linalg.norm(way))
    return way / size if size > LEAST else None


def halved(corners: Array, triangles: IntArray, way: Array) -> tuple[Array, IntArray]:
    """Return the closed surface of what of a closed one lies against `way` (3,) from its middle."""
    faces = np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
    whole = pv.PolyData(corners, faces).clean(tolerance=1e-7)
    half = whole.clip_closed_surface(normal=tuple(-way), origin=(0.0, 0.0, 0.0)).triangulate()
    half = half.clean(tolerance=1e-7)
    return np.asarray(half.points, dtype=np.float64), half.faces.reshape(-1, 4)[:, 1:]
