"""Potential of a flat polygon that carries a uniform charge.

    4 pi phi(x) = integral over the polygon of dS' / |x - x'|
                = sum over edges of  d_e ln[(R_a + R_b + L) / (R_a + R_b - L)]  -  |h Omega|

with d_e [m] the distance, in the polygon's plane, from the foot of x to the edge's line (positive
inside), R_a and R_b [m] the distances of x from the edge's ends, L [m] its length, h [m] the height
of x above the plane and Omega the solid angle that the polygon subtends at x. Magnetic use: charge
density sigma = M . n [A/m] on the faces of cells, phi [A] per unit of it in m. Assumptions: the
polygon is plane and convex; three or four corners, a triangle repeating its last one. Valid at any
point, edges and corners included, where the potential is continuous. Source: Wilton, Rao, Glisson,
Schaubert, Al-Bundak & Butler, IEEE Trans. Antennas Propag. 32, 276 (1984), eq. 5 (from memory);
solid angle after Van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30, 125 (1983), eq. 8 (from
memory). Tested against the axial closed form of a square and against quadrature.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from snapsim.arrays import Array

FOUR_PI = 4 * np.pi


@njit(cache=True, error_model="numpy")
def polygon_potential(corners: Array, normal: Array, x: float, y: float, z: float) -> float:
    """Return phi [m] of unit charge density at (x, y, z).

    `corners` (4, 3) [m], counter-clockwise about the unit `normal` (3,).
    """
    total = 0.0
    ax, ay, az = corners[3, 0] - x, corners[3, 1] - y, corners[3, 2] - z
    ra = np.sqrt(ax * ax + ay * ay + az * az)
    height = ax * normal[0] + ay * normal[1] + az * normal[2]
    for k in range(4):
        bx, by, bz = corners[k, 0] - x, corners[k, 1] - y, corners[k, 2] - z
        rb = np.sqrt(bx * bx + by * by + bz * bz)
        ex, ey, ez = bx - ax, by - ay, bz - az
        length = np.sqrt(ex * ex + ey * ey + ez * ez)
        short = ra + rb - length
        if length > 0.0 and short > 1e-15 * length:
            # (e x n) . a / L points from the foot of x out of the polygon: positive inside
            out = (
                ax * (ey * normal[2] - ez * normal[1])
                + ay * (ez * normal[0] - ex * normal[2])
                + az * (ex * normal[1] - ey * normal[0])
            )
            total += out / length * np.log((ra + rb + length) / short)
        ax, ay, az, ra = bx, by, bz, rb
    if abs(height) > 0.0:
        total -= abs(height * _solid_angle(corners, x, y, z))
    return total / FOUR_PI


@njit(cache=True, error_model="numpy", inline="always")
def _solid_angle(corners: Array, x: float, y: float, z: float) -> float:
    """Signed solid angle [sr] of the quadrilateral seen from a point, as two triangles."""
    ax, ay, az = corners[0, 0] - x, corners[0, 1] - y, corners[0, 2] - z
    cx, cy, cz = corners[2, 0] - x, corners[2, 1] - y, corners[2, 2] - z
    ra = np.sqrt(ax * ax + ay * ay + az * az)
    rc = np.sqrt(cx * cx + cy * cy + cz * cz)
    ac = ax * cx + ay * cy + az * cz
    nx, ny, nz = ay * cz - az * cy, az * cx - ax * cz, ax * cy - ay * cx
    angle = 0.0
    for k, side in ((1, -1.0), (3, 1.0)):
        bx, by, bz = corners[k, 0] - x, corners[k, 1] - y, corners[k, 2] - z
        rb = np.sqrt(bx * bx + by * by + bz * bz)
        triple = side * (nx * bx + ny * by + nz * bz)
        ab, bc = ax * bx + ay * by + az * bz, bx * cx + by * cy + bz * cz
        angle += 2.0 * np.arctan2(triple, ra * rb * rc + ab * rc + bc * ra + ac * rb)
    return angle
