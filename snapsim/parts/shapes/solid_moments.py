"""Volume, centre and inertia of the solid inside a closed triangulated surface.

Signed tetrahedra from one point to every triangle (Eberly, Polyhedral Mass Properties, 2002; Tonon,
J. Math. Stat. 1, 8 (2004); from memory): for a tetrahedron (0, a, b, c) of volume v, the integral
of x x^T is v/20 [a a^T + b b^T + c c^T + s s^T], s = a + b + c.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray


def surface_moments(corners: Array, triangles: IntArray) -> tuple[float, Array, Array]:
    """Return volume [m^3], centre of volume (3,) [m], inertia per mass (3, 3) about it [m^2].

    `corners` (n, 3) [m], outward `triangles` (m, 3); the volume of an inside-out one is negative.
    """
    middle = corners.mean(axis=0)
    p = corners[triangles] - middle
    volume = np.einsum("fi,fi->f", p[:, 0], np.cross(p[:, 1], p[:, 2])) / 6
    total = float(volume.sum())
    if total == 0:
        return 0.0, middle, np.zeros((3, 3))
    centre = volume @ p.sum(axis=1) / (4 * total)
    p = p - centre
    volume = np.einsum("fi,fi->f", p[:, 0], np.cross(p[:, 1], p[:, 2])) / 6
    both = p.sum(axis=1)
    square = np.einsum("fki,fkj->fij", p, p) + np.einsum("fi,fj->fij", both, both)
    spread = np.einsum("f,fij->ij", volume, square) / (20 * total)
    return total, middle + centre, np.trace(spread) * np.eye(3) - spread
