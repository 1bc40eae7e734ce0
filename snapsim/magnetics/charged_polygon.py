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

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare, compiled, part_of_caller

FOUR_PI = 4 * np.pi

IN_PLANE = 1e-7
"""Height over the longest edge below which a point counts as lying on the polygon's plane."""


@bare
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


@part_of_caller
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


@compiled
def polygon_edges(corners: Array, normal: Array, edges: Array) -> None:
    """Set `edges` (5, 7) for `potential_and_field`: a row an edge (first corner, length, outward
    unit normal in the plane), then the normal and twice the areas of the two triangles."""
    for k in range(4):
        ex, ey, ez = (
            corners[k, 0] - corners[k - 1, 0],
            corners[k, 1] - corners[k - 1, 1],
            corners[k, 2] - corners[k - 1, 2],
        )
        length = np.sqrt(ex * ex + ey * ey + ez * ez)
        inverse = 1.0 / length if length > 0.0 else 0.0
        edges[k, :3] = corners[k - 1]
        edges[k, 3] = length
        edges[k, 4] = inverse * (ey * normal[2] - ez * normal[1])
        edges[k, 5] = inverse * (ez * normal[0] - ex * normal[2])
        edges[k, 6] = inverse * (ex * normal[1] - ey * normal[0])
    edges[4, :3] = normal
    for k in range(2):
        area = 0.0
        for i in range(3):
            j, m = (i + 1) % 3, (i + 2) % 3
            u1, u2 = corners[k + 1, j] - corners[0, j], corners[k + 1, m] - corners[0, m]
            v1, v2 = corners[k + 2, j] - corners[0, j], corners[k + 2, m] - corners[0, m]
            area += normal[i] * (u1 * v2 - u2 * v1)
        edges[4, 3 + k] = area


@part_of_caller
def _log_term(total: float, length: float) -> float:
    """L = ln[(ra + rb + l) / (ra + rb - l)], `total` = ra + rb; 0 on the edge itself."""
    short = total - length
    if length > 0.0 and short > 1e-15 * length:
        return float(np.log((total + length) / short))
    return 0.0


@bare
def potential_and_field(
    edges: Array, side: float, x: float, y: float, z: float
) -> tuple[float, float, float, float]:
    """Return phi [m] of unit charge density and -grad phi (three numbers) at (x, y, z).

    Each edge's logarithm L and the solid angle Omega give both: -4 pi grad phi = sum of nu L +
    n Omega, nu the outward normal of an edge in the plane (see `charged_polygon_field`, also for
    Omega as one argument of a complex product). `edges` as from `polygon_edges`. A point within
    `IN_PLANE` of the plane counts as lying on the side of `side` (+1: where the normal points),
    so that a body that touches the polygon feels the field outside it.
    """
    ax, ay, az = edges[1, 0] - x, edges[1, 1] - y, edges[1, 2] - z
    bx, by, bz = edges[2, 0] - x, edges[2, 1] - y, edges[2, 2] - z
    cx, cy, cz = edges[3, 0] - x, edges[3, 1] - y, edges[3, 2] - z
    dx, dy, dz = edges[0, 0] - x, edges[0, 1] - y, edges[0, 2] - z
    ra, rb = np.sqrt(ax * ax + ay * ay + az * az), np.sqrt(bx * bx + by * by + bz * bz)
    rc, rd = np.sqrt(cx * cx + cy * cy + cz * cz), np.sqrt(dx * dx + dy * dy + dz * dz)
    l0, l1 = _log_term(rd + ra, edges[0, 3]), _log_term(ra + rb, edges[1, 3])
    l2, l3 = _log_term(rb + rc, edges[2, 3]), _log_term(rc + rd, edges[3, 3])
    hx = l0 * edges[0, 4] + l1 * edges[1, 4] + l2 * edges[2, 4] + l3 * edges[3, 4]
    hy = l0 * edges[0, 5] + l1 * edges[1, 5] + l2 * edges[2, 5] + l3 * edges[3, 5]
    hz = l0 * edges[0, 6] + l1 * edges[1, 6] + l2 * edges[2, 6] + l3 * edges[3, 6]
    d0 = dx * edges[0, 4] + dy * edges[0, 5] + dz * edges[0, 6]
    d1 = ax * edges[1, 4] + ay * edges[1, 5] + az * edges[1, 6]
    d2 = bx * edges[2, 4] + by * edges[2, 5] + bz * edges[2, 6]
    d3 = cx * edges[3, 4] + cy * edges[3, 5] + cz * edges[3, 6]
    phi = l0 * d0 + l1 * d1 + l2 * d2 + l3 * d3
    nx, ny, nz = edges[4, 0], edges[4, 1], edges[4, 2]
    height = -(ax * nx + ay * ny + az * nz)
    ab, bc, ac = (
        ax * bx + ay * by + az * bz,
        bx * cx + by * cy + bz * cz,
        ax * cx + ay * cy + az * cz,
    )
    cd, ad = cx * dx + cy * dy + cz * dz, ax * dx + ay * dy + az * dz
    u, v = ra * rb * rc + ab * rc + bc * ra + ac * rb, abs(height) * edges[4, 3]
    s, t = ra * rc * rd + ac * rd + cd * ra + ad * rc, abs(height) * edges[4, 4]
    angle = 2.0 * np.arctan2(u * t + v * s, u * s - v * t)
    if abs(height) > IN_PLANE * max(edges[0, 3], edges[1, 3]):
        side = 1.0 if height > 0.0 else -1.0
    else:  # the complex product cannot tell 0 from 2 pi here
        inside = d0 >= 0.0 and d1 >= 0.0 and d2 >= 0.0 and d3 >= 0.0
        angle = 2 * np.pi if inside else 0.0
    angle *= side
    f = 1.0 / FOUR_PI
    return (
        f * (phi - height * angle),
        f * (hx + angle * nx),
        f * (hy + angle * ny),
        f * (hz + angle * nz),
    )
