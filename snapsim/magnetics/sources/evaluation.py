"""Compiled loops over points and magnets: the one place that knows every member's kernel.

Superposition of posed magnets at world points: with R the rotation body to world, p the centre and
x' = R^T (x - p), H = sum of R H'(x') and dH/dx = sum of R G'(x') R^T [A/m, A/m^2].
"""

from __future__ import annotations

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.charged_polygon_field import polyhedron_field
from snapsim.magnetics.sources import box, coil, cylinder, hex_nut, ring, sphere
from snapsim.numerics.compilation import bare, part_of_caller

Nine = tuple[float, float, float, float, float, float, float, float, float]

BOX, CYLINDER, RING, SPHERE, HEX_NUT, POLYHEDRON, COMPOUND, COIL = 0, 1, 2, 3, 4, 5, 6, 7


@part_of_caller
def simple_field(
    code: int, par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float
) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) of one solid at one point, its axes."""
    if code == BOX:
        return box.kernel(par, x, y, z, mx, my, mz)
    if code == CYLINDER:
        return cylinder.kernel(par, x, y, z, mx, my, mz)
    if code == RING:
        return ring.kernel(par, x, y, z, mx, my, mz)
    if code == SPHERE:
        return sphere.kernel(par, x, y, z, mx, my, mz)
    if code == POLYHEDRON:
        return polyhedron_field(par, x, y, z, mx, my, mz)
    if code == COIL:
        return coil.kernel(par, x, y, z, mz)
    return hex_nut.kernel(par, x, y, z, mx, my, mz)


@part_of_caller
def local_field(
    code: int, par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float
) -> Nine:
    """Return the same of one body, a compound being the sum of its members; body axes.

    A compound's parameters: how many members; each its code, how many parameters, the turn member
    to body (9), the position (3), the parameters.
    """
    if code != COMPOUND:
        return simple_field(code, par, x, y, z, mx, my, mz)
    hx, hy, hz = 0.0, 0.0, 0.0
    gxx, gyy, gzz, gxy, gxz, gyz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    at = 1
    for _ in range(int(par[0])):
        size = int(par[at + 1])
        r = par[at + 2 : at + 11]
        dx, dy, dz = x - par[at + 11], y - par[at + 12], z - par[at + 13]
        kx, ky, kz, a, b, c, d, e, f = simple_field(
            int(par[at]), par[at + 14 : at + 14 + size],
            r[0] * dx + r[3] * dy + r[6] * dz, r[1] * dx + r[4] * dy + r[7] * dz,
            r[2] * dx + r[5] * dy + r[8] * dz, r[0] * mx + r[3] * my + r[6] * mz,
            r[1] * mx + r[4] * my + r[7] * mz, r[2] * mx + r[5] * my + r[8] * mz,
        )  # fmt: skip
        at += 14 + size
        hx += r[0] * kx + r[1] * ky + r[2] * kz
        hy += r[3] * kx + r[4] * ky + r[5] * kz
        hz += r[6] * kx + r[7] * ky + r[8] * kz
        # rows of R G, then (R G) R^T
        px, py, pz = (
            r[0] * a + r[1] * d + r[2] * e,
            r[0] * d + r[1] * b + r[2] * f,
            r[0] * e + r[1] * f + r[2] * c,
        )
        qx, qy, qz = (
            r[3] * a + r[4] * d + r[5] * e,
            r[3] * d + r[4] * b + r[5] * f,
            r[3] * e + r[4] * f + r[5] * c,
        )
        sx, sy, sz = (
            r[6] * a + r[7] * d + r[8] * e,
            r[6] * d + r[7] * b + r[8] * f,
            r[6] * e + r[7] * f + r[8] * c,
        )
        gxx += px * r[0] + py * r[1] + pz * r[2]
        gyy += qx * r[3] + qy * r[4] + qz * r[5]
        gzz += sx * r[6] + sy * r[7] + sz * r[8]
        gxy += px * r[3] + py * r[4] + pz * r[5]
        gxz += px * r[6] + py * r[7] + pz * r[8]
        gyz += qx * r[6] + qy * r[7] + qz * r[8]
    return hx, hy, hz, gxx, gyy, gzz, gxy, gxz, gyz


@bare
def fill_local(code: int, par: Array, points: Array, m: Array, h: Array, g: Array) -> None:
    """Fill h (k, 3) and g (k, 3, 3) at body-axis points (k, 3) for magnetisation m (3,)."""
    for k in range(len(points)):
        n = local_field(code, par, points[k, 0], points[k, 1], points[k, 2], m[0], m[1], m[2])
        h[k, 0], h[k, 1], h[k, 2] = n[0], n[1], n[2]
        g[k, 0, 0], g[k, 1, 1], g[k, 2, 2] = n[3], n[4], n[5]
        g[k, 0, 1], g[k, 0, 2], g[k, 1, 2] = n[6], n[7], n[8]
        g[k, 1, 0], g[k, 2, 0], g[k, 2, 1] = n[6], n[7], n[8]


@bare
def add_world(
    codes: IntArray, starts: IntArray, parameters: Array, magnetisations: Array,
    positions: Array, quaternions: Array, points: Array, h: Array, g: Array,
) -> None:  # fmt: skip
    """Add the fields of all magnets at world points to h (k, 3) and g (k, 3, 3)."""
    for i in range(len(codes)):
        par = parameters[starts[i] : starts[i + 1]]
        add_one(codes[i], par, magnetisations[i], positions[i], quaternions[i], points, h, g)


@bare
def add_one(
    code: int, par: Array, magnetisation: Array, position: Array, quaternion: Array,
    points: Array, h: Array, g: Array,
) -> None:  # fmt: skip
    """Add the field of one magnet likewise."""
    w, a, b, c = quaternion[0], quaternion[1], quaternion[2], quaternion[3]
    xx, yx, zx = 1 - 2 * (b * b + c * c), 2 * (a * b + w * c), 2 * (a * c - w * b)
    xy, yy, zy = 2 * (a * b - w * c), 1 - 2 * (a * a + c * c), 2 * (b * c + w * a)
    xz, yz, zz = 2 * (a * c + w * b), 2 * (b * c - w * a), 1 - 2 * (a * a + b * b)
    px, py, pz = position[0], position[1], position[2]
    mx, my, mz = magnetisation[0], magnetisation[1], magnetisation[2]
    for k in range(len(points)):
        dx, dy, dz = points[k, 0] - px, points[k, 1] - py, points[k, 2] - pz
        hx, hy, hz, gxx, gyy, gzz, gxy, gxz, gyz = local_field(
            code, par,
            xx * dx + yx * dy + zx * dz, xy * dx + yy * dy + zy * dz,
            xz * dx + yz * dy + zz * dz, mx, my, mz,
        )  # fmt: skip
        h[k, 0] += xx * hx + xy * hy + xz * hz
        h[k, 1] += yx * hx + yy * hy + yz * hz
        h[k, 2] += zx * hx + zy * hy + zz * hz
        # rows of R G', then (R G') R^T
        ax, ay, az = (
            xx * gxx + xy * gxy + xz * gxz,
            xx * gxy + xy * gyy + xz * gyz,
            xx * gxz + xy * gyz + xz * gzz,
        )
        bx, by, bz = (
            yx * gxx + yy * gxy + yz * gxz,
            yx * gxy + yy * gyy + yz * gyz,
            yx * gxz + yy * gyz + yz * gzz,
        )
        cx, cy, cz = (
            zx * gxx + zy * gxy + zz * gxz,
            zx * gxy + zy * gyy + zz * gyz,
            zx * gxz + zy * gyz + zz * gzz,
        )
        off_xy = ax * yx + ay * yy + az * yz
        off_xz = ax * zx + ay * zy + az * zz
        off_yz = bx * zx + by * zy + bz * zz
        g[k, 0, 0] += ax * xx + ay * xy + az * xz
        g[k, 1, 1] += bx * yx + by * yy + bz * yz
        g[k, 2, 2] += cx * zx + cy * zy + cz * zz
        g[k, 0, 1] += off_xy
        g[k, 1, 0] += off_xy
        g[k, 0, 2] += off_xz
        g[k, 2, 0] += off_xz
        g[k, 1, 2] += off_yz
        g[k, 2, 1] += off_yz
