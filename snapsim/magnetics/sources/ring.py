"""Uniformly magnetised ring: a cylinder less a coaxial one of the bore's radius.

Superposition, exact everywhere (H_i = U_ij M_j, U the sum over both cylinders; symbols and units as
in module `cylinder`). Far away the moments are subtracted, not the fields, so that a thin ring
keeps its digits. A point on the bore's wall counts as inside the ring, one on any other surface as
outside.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.axial_multipoles import FAR, cylinder_moments, far_functions
from snapsim.magnetics.sources.cylinder import Nine, combine, near_functions
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import Ring


def parameters(shape: Ring) -> Array:
    """Return outer and inner radius, half length, farthest distance [m] and scaled moments."""
    outer, inner, half = shape.outer_diameter / 2, shape.inner_diameter / 2, shape.length / 2
    farthest = math.hypot(outer, half)
    moments = cylinder_moments(outer, half, farthest) - cylinder_moments(inner, half, farthest)
    return np.concatenate([[outer, inner, half, farthest], moments])


@bare
def kernel(par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point, body axes."""
    rho2 = x * x + y * y
    rho, r2 = math.sqrt(rho2), rho2 + z * z
    if r2 > FAR * FAR * par[3] * par[3]:
        return combine(x, y, rho, far_functions(par[3], par[4:], z, math.sqrt(r2)), mx, my, mz)
    a = near_functions(par[0], par[2], rho, z)
    b = near_functions(par[1], par[2], rho, z)
    six = (a[0] - b[0], a[1] - b[1], a[2] - b[2], a[3] - b[3], a[4] - b[4], a[5] - b[5])
    return combine(x, y, rho, six, mx, my, mz)
