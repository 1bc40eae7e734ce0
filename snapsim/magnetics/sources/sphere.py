"""Uniformly magnetised ball: a point dipole outside, a uniform demagnetising field inside.

Outside, H = [3 n (m.n) - m]/(4 pi r^3), m = M V [A m^2], n = x/r; inside, H = -M/3 (Jackson,
Classical Electrodynamics, 3rd ed., eqs. (5.56) and (5.105)-(5.106); from memory). Exact
everywhere; a point on the surface counts as outside.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import Sphere

Nine = tuple[float, float, float, float, float, float, float, float, float]


def parameters(shape: Sphere) -> Array:
    """Return the radius (1,) [m]."""
    return np.array([shape.diameter / 2])


@bare
def kernel(par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point, body axes."""
    a = par[0]
    r2 = x * x + y * y + z * z
    if r2 < a * a:
        return -mx / 3, -my / 3, -mz / 3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    r = math.sqrt(r2)
    ratio = a / r
    s = ratio * ratio * ratio / 3
    nx, ny, nz = x / r, y / r, z / r
    p = mx * nx + my * ny + mz * nz
    g = 3 * s / r
    return (
        s * (3 * p * nx - mx),
        s * (3 * p * ny - my),
        s * (3 * p * nz - mz),
        g * (2 * mx * nx + p - 5 * p * nx * nx),
        g * (2 * my * ny + p - 5 * p * ny * ny),
        g * (2 * mz * nz + p - 5 * p * nz * nz),
        g * (mx * ny + my * nx - 5 * p * nx * ny),
        g * (mx * nz + mz * nx - 5 * p * nx * nz),
        g * (my * nz + mz * ny - 5 * p * ny * nz),
    )
