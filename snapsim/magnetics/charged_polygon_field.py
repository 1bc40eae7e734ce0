"""Field and field gradient of plane, uniformly charged polygons and of bodies bounded by them.

A polygon of charge density sigma [A/m], unit normal n, edges along t with outward in-plane normals
nu: H = sigma/(4 pi) [sum of nu L + n Omega], with L = ln[(ra + rb + l)/(ra + rb - l)] over each
edge of length l [m] and Omega the signed solid angle (the sign of the height above the plane);
grad L = t (1/ra - 1/rb) - d K, d the vector from the edge's line to the point,
K = 2 l (ra + rb)/(ra rb [(ra + rb)^2 - l^2]); grad Omega = sum of [nu (n.grad L) - n (nu.grad L)].
A closed body of uniform magnetisation M is its faces with sigma = M.n, and an edge's L serves both
its faces (the edge dyads of Werner & Scheeres, Celest. Mech. Dyn. Astron. 65, 313 (1997), eq. (10);
from memory). Solid angle: van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30, 125 (1983), eq. (8)
(from memory), as one argument of a complex product over a fan of triangles, which is right for any
simple plane polygon, convex or not. Valid everywhere; digits are lost as (distance/size)^2; closer
to an edge than 1e-10 of its length the values at that distance; on a face, the limit from outside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from snapsim.arrays import Array, ArrayLike, as_floats
from snapsim.numerics.compilation import bare, part_of_caller

Four = tuple[float, float, float, float]
Nine = tuple[float, float, float, float, float, float, float, float, float]

FLOOR = 1e-10
"""Nearer to an edge than this share of its length the field at that distance is taken."""
IN_PLANE = 1e-13
"""Height over distance below which a point counts as on the face, on the side of its normal."""
TRACE = 1e-8
"""The same where the solid angle is taken then, so that inside and outside can be told."""
EDGE_ROW = 19
FACE_HEAD = 4


def polyhedron_parameters(polygons: Sequence[ArrayLike]) -> Array:
    """Return the packed faces and edges of a closed body, or of an open sheet.

    `polygons`: one (k, 3) array of corners [m] a face, counter-clockwise seen from outside; each
    plane to rounding. Layout: [faces, edges, then a face: n (3), corner count, corners; then an
    edge: start (3), t (3), length, n and nu of the first face, n and nu of the second (zeros where
    there is none)].
    """
    loops = [as_floats(p) for p in polygons]
    normals = [_unit_normal(p) for p in loops]
    faces = [np.concatenate([n, [len(p)], p.ravel()]) for n, p in zip(normals, loops, strict=True)]
    edges = _shared_edges(loops, normals)
    return np.concatenate([[len(faces), len(edges)], *faces, *edges])


def _unit_normal(corners: Array) -> Array:
    """Newell's normal (3,) of a plane polygon."""
    area = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
    size = float(np.linalg.norm(area))
    if not size > 0:
        raise ValueError("a face of the polyhedron has no area")
    unit: Array = area / size
    return unit


def _shared_edges(loops: list[Array], normals: list[Array]) -> list[Array]:
    """Edge records; two faces share one when its corners agree exactly, in opposite order."""
    found: dict[tuple[bytes, bytes], Array] = {}
    for corners, normal in zip(loops, normals, strict=True):
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            length = float(np.linalg.norm(b - a))
            along = (b - a) / length
            side = np.concatenate([normal, np.cross(along, normal)])
            partner = found.get((b.tobytes(), a.tobytes()))
            if partner is not None and not partner[13:].any():
                partner[13:] = side
            else:
                record = np.concatenate([a, along, [length], side, np.zeros(6)])
                found[(a.tobytes(), b.tobytes())] = record
    return list(found.values())


@part_of_caller
def _edge_gradient(row: Array, x: float, y: float, z: float) -> Four:
    """Return L and grad L of one edge."""
    length = row[6]
    tx, ty, tz = row[3], row[4], row[5]
    px, py, pz = x - row[0], y - row[1], z - row[2]
    low = px * tx + py * ty + pz * tz
    high = low - length
    dx, dy, dz = px - low * tx, py - low * ty, pz - low * tz
    d2 = max(dx * dx + dy * dy + dz * dz, (FLOOR * length) ** 2)
    ra, rb = math.sqrt(d2 + low * low), math.sqrt(d2 + high * high)
    total = ra + rb
    plus, minus = total + length, total - length
    if d2 < 0.01 * length * length:
        rr = ra * rb + low * high
        if low * high <= 0:
            rr = d2 * (d2 + low * low + high * high) / (ra * rb - low * high)
        minus = 2 * (d2 + rr) / plus
    inverse = 1 / (ra * rb)
    k = 2 * length * total * inverse / (plus * minus)
    # 1/ra - 1/rb = (rb - ra)/(ra rb), rb^2 - ra^2 = high^2 - low^2
    s = -length * (high + low) / total * inverse
    return math.log1p(2 * length / minus), s * tx - k * dx, s * ty - k * dy, s * tz - k * dz


@bare
def solid_angle(face: Array, skin: float, x: float, y: float, z: float) -> float:
    """Return the signed solid angle of a face: negative where the point is behind it by more than
    `skin` [m]."""
    count = int(face[3])
    ax, ay, az = face[4] - x, face[5] - y, face[6] - z
    bx, by, bz = face[7] - x, face[8] - y, face[9] - z
    ra = math.sqrt(ax * ax + ay * ay + az * az)
    rb = math.sqrt(bx * bx + by * by + bz * bz)
    height = -(face[0] * ax + face[1] * ay + face[2] * az)
    # in the plane the imaginary parts tell inside from outside: keep a trace of them
    flat = abs(height) <= IN_PLANE * (ra + rb)
    tall = TRACE * (ra + rb) if flat else abs(height)
    re, im = 1.0, 0.0
    for i in range(2, count):
        j = FACE_HEAD + 3 * i
        cx, cy, cz = face[j] - x, face[j + 1] - y, face[j + 2] - z
        rc = math.sqrt(cx * cx + cy * cy + cz * cz)
        ux, uy, uz = face[j - 3] - face[4], face[j - 2] - face[5], face[j - 1] - face[6]
        vx, vy, vz = face[j] - face[4], face[j + 1] - face[5], face[j + 2] - face[6]
        area = face[0] * (uy * vz - uz * vy) + face[1] * (uz * vx - ux * vz)
        area += face[2] * (ux * vy - uy * vx)
        ab, bc = ax * bx + ay * by + az * bz, bx * cx + by * cy + bz * cz
        ca = cx * ax + cy * ay + cz * az
        real, imaginary = ra * rb * rc + ab * rc + bc * ra + ca * rb, tall * area
        norm = 1 / (abs(real) + abs(imaginary) + 1e-300)
        real, imaginary = real * norm, imaginary * norm
        re, im = re * real - im * imaginary, re * imaginary + im * real
        bx, by, bz, rb = cx, cy, cz, rc
    angle = 2 * math.atan2(abs(im), re)
    if flat:
        return 2 * math.pi if angle > math.pi else 0.0
    return -angle if height < -skin else angle


@bare
def polyhedron_field(
    par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float
) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point for uniform M [A/m]."""
    hx, hy, hz = 0.0, 0.0, 0.0
    gxx, gyy, gzz, gxy, gxz, gyz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    at = 2
    for _ in range(int(par[0])):
        sigma = mx * par[at] + my * par[at + 1] + mz * par[at + 2]
        if sigma != 0:
            s = sigma * solid_angle(par[at:], 0.0, x, y, z)
            hx, hy, hz = hx + s * par[at], hy + s * par[at + 1], hz + s * par[at + 2]
        at += FACE_HEAD + 3 * int(par[at + 3])
    for _ in range(int(par[1])):
        row = par[at : at + EDGE_ROW]
        at += EDGE_ROW
        first = mx * row[7] + my * row[8] + mz * row[9]
        second = mx * row[13] + my * row[14] + mz * row[15]
        if first == 0 and second == 0:
            continue
        log, ex, ey, ez = _edge_gradient(row, x, y, z)
        for side in range(2):
            sigma = first if side == 0 else second
            if sigma == 0:
                continue
            i = 7 + 6 * side
            nx, ny, nz, vx, vy, vz = (
                row[i],
                row[i + 1],
                row[i + 2],
                row[i + 3],
                row[i + 4],
                row[i + 5],
            )
            hx, hy, hz = hx + sigma * log * vx, hy + sigma * log * vy, hz + sigma * log * vz
            normal = sigma * (nx * ex + ny * ey + nz * ez)
            across = sigma * (vx * ex + vy * ey + vz * ez)
            along = sigma * (row[3] * ex + row[4] * ey + row[5] * ez)
            # sigma [nu grad L + n grad Omega] in the frame (nu, n, t)
            gxx += across * (vx * vx - nx * nx) + 2 * normal * nx * vx + along * vx * row[3]
            gyy += across * (vy * vy - ny * ny) + 2 * normal * ny * vy + along * vy * row[4]
            gzz += across * (vz * vz - nz * nz) + 2 * normal * nz * vz + along * vz * row[5]
            gxy += across * (vx * vy - nx * ny) + normal * (nx * vy + ny * vx)
            gxz += across * (vx * vz - nx * nz) + normal * (nx * vz + nz * vx)
            gyz += across * (vy * vz - ny * nz) + normal * (ny * vz + nz * vy)
            # nu t^T summed round a face is symmetric, so its symmetric part is the whole
            gxy += 0.5 * along * (vx * row[4] + vy * row[3])
            gxz += 0.5 * along * (vx * row[5] + vz * row[3])
            gyz += 0.5 * along * (vy * row[5] + vz * row[4])
    f = 1 / (4 * math.pi)
    return f * hx, f * hy, f * hz, f * gxx, f * gyy, f * gzz, f * gxy, f * gxz, f * gyz
