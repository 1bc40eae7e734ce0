"""The area that points in a plane span: what of a face touches at once."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull

from snapsim.arrays import Array
from snapsim.mechanics.joints.contract import perpendiculars


def spanned_area(points: Array, normal: Array) -> float:
    """Return the area [m^2] of the convex hull of `points` (k, 3) seen along `normal` (3,).

    Zero for fewer than three, and for points on one line.
    """
    if len(points) < 3:
        return 0.0
    t1, t2 = perpendiculars(normal)
    flat = (points - points.mean(axis=0)) @ np.stack([t1, t2], axis=1)
    wide = np.linalg.svd(flat, compute_uv=False)
    if wide[1] < 1e-3 * wide[0]:
        return 0.0
    return float(ConvexHull(flat).volume)
