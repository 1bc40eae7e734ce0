"""Far field of a uniformly magnetised body of revolution that is its own mirror image in z = 0.

U = 1/(4 pi) * integral of dV'/|x - x'| = sum over even l of c_l P_l(cos theta)/r^(l+1), with
c_l = 1/(4 pi) * integral of r'^l P_l dV' [m^(l+3)], for r beyond the body's farthest point s
(Jackson, Classical Electrodynamics, 3rd ed., section 4.1; from memory). The derivatives are single
terms: d/dz takes P_l/r^(l+1) to -(l+1) P_{l+1}/r^(l+2), and (1/rho) d/drho takes
P_l^(k)/r^(l+k+1) to -P_{l+1}^(k+1)/r^(l+k+3). Sixteen terms (l up to 30), used for r > 3.5 s, leave
a relative error below 1e-13, and nothing cancels however far the point is.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare

Six = tuple[float, float, float, float, float, float]

TERMS = 16
FAR = 3.5


def cylinder_moments(radius: float, half_length: float, unit: float) -> Array:
    """Return c_l / unit^(l+3), l = 0, 2, ..., (TERMS,) of a cylinder; lengths [m]."""
    a, h = radius / unit, half_length / unit
    moments = np.zeros(TERMS)
    for n in range(TERMS):
        degree = 2 * n
        for k in range(n + 1):
            binomial = math.factorial(degree) / (
                math.factorial(degree - 2 * k) * 4**k * math.factorial(k) ** 2
            )
            volume = 2 * math.pi * a ** (2 * k + 2) / (2 * k + 2)
            volume *= 2 * h ** (degree - 2 * k + 1) / (degree - 2 * k + 1)
            moments[n] += (-1) ** k * binomial * volume / (4 * math.pi)
    return moments


@bare
def far_functions(unit: float, moments: Array, z: float, r: float) -> Six:
    """Return (U_zz, D U_z, D U, D^2 U, U_zzz, D U_zz) at height z and distance r [m]."""
    w, small = z / r, (unit / r) ** 2
    p0, p1 = 1.0, w  # P_l, P_{degree+1}
    d0, d1 = 0.0, 1.0  # first derivatives
    s0, s1 = 0.0, 0.0  # second derivatives
    uzz, duz, du, d2u, uzzz, duzz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    power = 1.0
    for n in range(len(moments)):
        degree = 2 * n
        p2 = ((2 * degree + 3) * w * p1 - (degree + 1) * p0) / (degree + 2)
        d2 = d0 + (2 * degree + 3) * p1
        s2 = s0 + (2 * degree + 3) * d1
        p3 = ((2 * degree + 5) * w * p2 - (degree + 2) * p1) / (degree + 3)
        d3 = d1 + (2 * degree + 5) * p2
        s3 = s1 + (2 * degree + 5) * d2
        c = moments[n] * power
        uzz += c * (degree + 1) * (degree + 2) * p2
        du -= c * d1
        duz += c * (degree + 1) * d2
        d2u += c * s2
        uzzz -= c * (degree + 1) * (degree + 2) * (degree + 3) * p3
        duzz -= c * (degree + 1) * (degree + 2) * d3
        p0, p1, d0, d1, s0, s1 = p2, p3, d2, d3, s2, s3
        power *= small
        if power * (degree + 3) ** 3 < 1e-17:
            break
    cube = (unit / r) ** 3
    r2 = r * r
    return uzz * cube, duz * cube / r, du * cube, d2u * cube / r2, uzzz * cube / r, duzz * cube / r2
