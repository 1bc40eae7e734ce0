"""Uniformly magnetised right circular cylinder, any direction of magnetisation.

U = 1/(4 pi) * integral of dV'/|x - x'| depends on rho and z only; with D = (1/rho) d/drho,
U_xx = D U + x^2 D^2 U, U_xy = x y D^2 U, U_xz = x D U_z, and so on for the third derivatives, which
Laplace's equation closes: rho^2 D^3 U = -(D U_zz + 4 D^2 U), rho^2 D^2 U_z = -(U_zzz + 2 D U_z).
H_i = U_ij M_j [A/m], dH_i/dx_l = U_ijl M_j [A/m^2]. The six functions are elliptic integrals close
by (module `cylinder_end`) and multipoles far away (module `axial_multipoles`). The same fields, by
another route: Caciagli et al., J. Magn. Magn. Mater. 456, 423 (2018) (from memory). Exact
everywhere to about 1e-13; a point on the surface counts as outside.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.axial_multipoles import FAR, cylinder_moments, far_functions
from snapsim.magnetics.cylinder_end import end_functions
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import Cylinder

Six = tuple[float, float, float, float, float, float]
Nine = tuple[float, float, float, float, float, float, float, float, float]


def parameters(shape: Cylinder) -> Array:
    """Return radius, half length, farthest distance [m] and the scaled moments."""
    return solid_parameters(shape.diameter / 2, shape.length / 2)


def solid_parameters(radius: float, half_length: float) -> Array:
    """Return the parameters of a solid cylinder of that radius and half length [m]."""
    farthest = math.hypot(radius, half_length)
    moments = cylinder_moments(radius, half_length, farthest)
    return np.concatenate([[radius, half_length, farthest], moments])


@bare
def near_functions(a: float, h: float, rho: float, z: float) -> Six:
    """Return (U_zz, D U_z, D U, D^2 U, U_zzz, D U_zz) from the two ends."""
    above, below = z + h, z - h
    e1, c1, q1, s1, l1, d1 = end_functions(a, rho, above, 1.0 if above > 0 else -1.0)
    e0, c0, q0, s0, l0, d0 = end_functions(a, rho, below, 1.0 if below >= 0 else -1.0)
    du, d2u = q1 - q0, s1 - s0
    if abs(z) < h:
        if rho < a:
            du -= 0.5
        else:
            ratio = a * a / (rho * rho)
            du -= 0.5 * ratio
            d2u += ratio / (rho * rho)
    return e1 - e0, c1 - c0, du, d2u, l1 - l0, d1 - d0


@bare
def solid_functions(par: Array, rho: float, z: float) -> Six:
    """Return the six functions of a solid cylinder of these parameters, near or far."""
    r2 = rho * rho + z * z
    if r2 > FAR * FAR * par[2] * par[2]:
        return far_functions(par[2], par[3:], z, math.sqrt(r2))
    return near_functions(par[0], par[1], rho, z)


@bare
def combine(x: float, y: float, rho: float, six: Six, mx: float, my: float, mz: float) -> Nine:
    """Return field and gradient from the six functions of a body of revolution."""
    uzz, duz, du, d2u, uzzz, duzz = six
    cx, cy = (x / rho, y / rho) if rho > 0 else (1.0, 0.0)
    uxy, uxz, uyz = x * y * d2u, x * duz, y * duz
    t, v = duzz + 4 * d2u, uzzz + 2 * duz
    uxxx, uyyy = x * (3 * d2u - cx * cx * t), y * (3 * d2u - cy * cy * t)
    uxxy, uxyy = y * (d2u - cx * cx * t), x * (d2u - cy * cy * t)
    uxxz, uyyz, uxyz = duz - cx * cx * v, duz - cy * cy * v, -cx * cy * v
    uxzz, uyzz = x * duzz, y * duzz
    return (
        (du + x * x * d2u) * mx + uxy * my + uxz * mz,
        uxy * mx + (du + y * y * d2u) * my + uyz * mz,
        uxz * mx + uyz * my + uzz * mz,
        uxxx * mx + uxxy * my + uxxz * mz,
        uxyy * mx + uyyy * my + uyyz * mz,
        uxzz * mx + uyzz * my + uzzz * mz,
        uxxy * mx + uxyy * my + uxyz * mz,
        uxxz * mx + uxyz * my + uxzz * mz,
        uxyz * mx + uyyz * my + uyzz * mz,
    )


@bare
def kernel(par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point, body axes."""
    rho = math.sqrt(x * x + y * y)
    return combine(x, y, rho, solid_functions(par, rho, z), mx, my, mz)
