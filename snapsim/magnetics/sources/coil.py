"""A coil: current spread evenly over the rectangular cross-section of a ring or a frame.

A sheet of current K = N I/L [A/m] round a cylinder or a block has the field of that solid uniformly
magnetised along its axis with M = K, to which M is added inside: there H of the magnet is that of
its charges alone. The coil is the mean of such sheets, from its inner outline to its outer one,

    H(x) = (1/w) integral over t from 0 to w of [ H_t(x) + M inside sheet t ] dt        [A/m],

so that a coil is M = N I/L along z in place of a magnet's M, and what is in its bore feels its
whole field. Gauss-Legendre panels of `ORDER` points grow away from the point, the first `FIRST`
times as long as the point is far from the winding, so that the logarithm at the winding's ends does
no harm; further off than w there is one panel, and a round coil's moments serve beyond `FAR`.
Error, against ten times the panels: 1e-6 of H, 1e-5 of its gradient a fiftieth of w from the
winding. Inside the winding H is right and the gradient lacks its curl, j: no body is there.
Source: equivalence of sheets and magnets, Jackson, Classical Electrodynamics, 3rd ed., section 5.10
(from memory); closed forms as in `cylinder` and `box`.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.axial_multipoles import FAR, TERMS, cylinder_moments, far_functions
from snapsim.magnetics.sources.box import block
from snapsim.magnetics.sources.cylinder import combine, near_functions
from snapsim.numerics.compilation import bare, part_of_caller
from snapsim.parts.windings import Winding

Nine = tuple[float, float, float, float, float, float, float, float, float]

ORDER = 6
FIRST = 1.5
GROWTH = 4.0
NEAREST = 0.002
"""Shortest first panel, as a share of w."""
_U, _W = np.polynomial.legendre.leggauss(ORDER)
NODES, WEIGHTS = (_U + 1) / 2, _W / 2
MOMENT_ORDER = 24


def parameters(winding: Winding) -> Array:
    """Return whether it is round, half sizes of the window, width, half length, farthest distance
    [m], and the scaled moments of a round one, else zeros."""
    (a, b), w, h = winding.inner, winding.width, winding.half_length
    farthest = math.hypot(a + w, h) if winding.is_round else math.hypot(a + w, b + w, h)
    moments = np.zeros(TERMS)
    if winding.is_round:
        u, weights = np.polynomial.legendre.leggauss(MOMENT_ORDER)
        for x, share in zip(a + w * (u + 1) / 2, weights / 2, strict=True):
            moments += share * cylinder_moments(float(x), h, farthest)
    return np.concatenate([[float(winding.is_round), a, b, w, h, farthest], moments])


@bare
def _sheet(par: Array, t: float, x: float, y: float, z: float) -> Nine:
    """Field of the unit-magnetised solid within the sheet at depth t."""
    if par[0] > 0.5:
        rho = math.sqrt(x * x + y * y)
        return combine(x, y, rho, near_functions(par[1] + t, par[4], rho, z), 0.0, 0.0, 1.0)
    return block(par[1] + t, par[2] + t, par[4], x, y, z, 0.0, 0.0, 1.0)


@bare
def _stretch(
    par: Array, begin: float, end: float, first: float, x: float, y: float, z: float
) -> Nine:
    """Integral over sheets between depths `begin`, next to the point, and `end`, over w."""
    hx, hy, hz = 0.0, 0.0, 0.0
    gxx, gyy, gzz, gxy, gxz, gyz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    at, length, sign = begin, first, 1.0 if end > begin else -1.0
    while abs(end - at) > 0:
        left = abs(end - at)
        span = length if left > 1.5 * length else left
        for k in range(ORDER):
            f = _sheet(par, at + sign * span * NODES[k], x, y, z)
            share = span * WEIGHTS[k] / par[3]
            hx, hy, hz = hx + share * f[0], hy + share * f[1], hz + share * f[2]
            gxx, gyy, gzz = gxx + share * f[3], gyy + share * f[4], gzz + share * f[5]
            gxy, gxz, gyz = gxy + share * f[6], gxz + share * f[7], gyz + share * f[8]
        if span == left:
            break
        at += sign * span
        length *= GROWTH
    return hx, hy, hz, gxx, gyy, gzz, gxy, gxz, gyz


@part_of_caller
def _depth(par: Array, x: float, y: float) -> float:
    """How far beyond the inner outline a point lies, negative within it [m]."""
    if par[0] > 0.5:
        return math.sqrt(x * x + y * y) - float(par[1])
    return max(abs(x) - float(par[1]), abs(y) - float(par[2]))


@bare
def kernel(par: Array, x: float, y: float, z: float, m: float) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point, body axes; m = N I/L."""
    width, half = par[3], par[4]
    if par[0] > 0.5 and x * x + y * y + z * z > FAR * FAR * par[5] * par[5]:
        rho, r = math.sqrt(x * x + y * y), math.sqrt(x * x + y * y + z * z)
        return combine(x, y, rho, far_functions(par[5], par[6:], z, r), 0.0, 0.0, m)
    depth = _depth(par, x, y)
    nearest = min(max(depth, 0.0), width)
    away = math.hypot(depth - nearest, max(abs(z) - half, 0.0))
    if away > width:
        f = _stretch(par, 0.0, width, width, x, y, z)
        hx, hy, hz, gxx, gyy, gzz, gxy, gxz, gyz = f
    else:
        first = max(FIRST * away, NEAREST * width)
        f = _stretch(par, nearest, width, first, x, y, z)
        g = _stretch(par, nearest, 0.0, first, x, y, z)
        hx, hy, hz = f[0] + g[0], f[1] + g[1], f[2] + g[2]
        gxx, gyy, gzz = f[3] + g[3], f[4] + g[4], f[5] + g[5]
        gxy, gxz, gyz = f[6] + g[6], f[7] + g[7], f[8] + g[8]
    if abs(z) < half:
        hz += (width - nearest) / width  # the sheets round the point
    return (
        m * hx, m * hy, m * hz, m * gxx, m * gyy, m * gzz, m * gxy, m * gxz, m * gyz,
    )  # fmt: skip
