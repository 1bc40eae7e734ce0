"""One end of a uniformly magnetised cylinder: the axisymmetric functions its field is made of.

For a cylinder of radius a and half length h, U = 1/(4 pi) * integral of dV'/|x - x'| gives
H_i = U_ij M_j. With D = (1/rho) d/drho everything is a difference of one function between the ends
zeta = z + h and zeta = z - h:
    U_zz = [e], D U_z = [c], D U = [q] - chi', D^2 U = [q2] + chi'', U_zzz = [l], D U_zz = [d],
with chi' = 1/2 (rho < a) or a^2/(2 rho^2), chi'' = 0 or a^2/rho^4, and both 0 outside the slab
|z| < h. e is -solid angle/(4 pi) of the end disc; f = e + sgn(zeta)/2 (rho < a) is a solenoid's
axial field a/(a + rho) zeta F/(pi R) of Derby & Olbert, Am. J. Phys. 78, 229 (2010), eqs. (4)-(6)
(from memory), R^2 = (a + rho)^2 + zeta^2; c = -4 a^2 C/(pi R^3) follows from a loop's vector
potential and l, d from its field (Jackson, Classical Electrodynamics, 3rd ed., eq. (5.37); from
memory), written with integrals from which rho has been divided out. q = -a zeta (int sin^2/D -
g X)/(pi rho R) is the solenoid's vector potential over rho; f + 2 q + rho^2 D q = 0 is Laplace's
equation. Near the axis (rho < 0.2 sqrt(zeta^2 + a^2)) the series in rho with the axial derivatives
f^(j) = -(-1)^j (j - 1)! (1 - w^2) P_j'(w)/(2 s^j), s^2 = zeta^2 + a^2, w = zeta/s, replaces them.
Lengths [m]; e dimensionless, c, l [1/m], q dimensionless, q2, d [1/m^2]. Error about 1e-14 of the
largest term; closer to the rim than 1e-10 a (no limit there) the values at that distance.
"""

from __future__ import annotations

import math

from snapsim.numerics.compilation import bare
from snapsim.numerics.elliptic_integrals import complete_integrals

Six = tuple[float, float, float, float, float, float]

NEAR_AXIS = 0.2
RIM_FLOOR = 1e-10


@bare
def end_functions(a: float, rho: float, zeta: float, sign: float) -> Six:
    """Return (e, c, q, q2, l, d) of one end; `sign` is sgn(zeta), +-1, chosen also on the disc."""
    s2 = zeta * zeta + a * a
    if rho * rho < NEAR_AXIS * NEAR_AXIS * s2:
        return _near_axis(a, rho, zeta, sign, s2)
    return _elliptic(a, rho, zeta, sign)


@bare
def _near_axis(a: float, rho: float, zeta: float, sign: float, s2: float) -> Six:
    """Power series in rho; 1 - |w| = a^2/(s (s + |zeta|)) keeps the digits of e far up the axis."""
    s = math.sqrt(s2)
    w = zeta / s
    outer = a * a / s2  # 1 - w^2
    e = -0.5 * sign * outer / (1 + abs(w))
    q, q2, d = -0.5 * e, 0.0, 0.0
    t2 = (rho / s) ** 2
    p_low, p = 0.0, 1.0  # P'_{j-1}, P'_j
    legendre_low, legendre = 1.0, w
    slope = 0.5 * outer / s  # f'
    c, ez = -0.5 * slope, slope
    factor, power = 1.0, 1.0  # (2n)!/(4^n n!^2), t^2n
    for n in range(1, 16):
        j = 2 * n
        p_low, p = p, p_low + (2 * j - 1) * legendre
        legendre_low, legendre = legendre, ((2 * j - 1) * w * legendre - (j - 1) * legendre_low) / j
        even = -0.5 * outer * p / j
        p_low, p = p, p_low + (2 * j + 1) * legendre
        legendre_low, legendre = legendre, ((2 * j + 1) * w * legendre - j * legendre_low) / (j + 1)
        odd = 0.5 * outer * p / s
        factor *= -(2 * n - 1) / (2 * n)
        inner = power * factor / s2
        power *= t2
        even_term, odd_term = factor * power * even, factor * power * odd
        e += even_term
        q -= even_term / (j + 2)
        q2 -= inner * even * j / (j + 2)
        d += inner * even * j
        ez += odd_term
        c -= odd_term / (j + 2)
        if power * j * j < 1e-17:
            break
    return e, c, q, q2, ez, d


@bare
def _elliptic(a: float, rho: float, zeta: float, sign: float) -> Six:
    """Complete elliptic integrals; rho is not small here."""
    sum_, gap = a + rho, a - rho
    big2 = sum_ * sum_ + zeta * zeta
    small2 = max(gap * gap + zeta * zeta, (RIM_FLOOR * a) ** 2)
    big = math.sqrt(big2)
    kc2, k2 = small2 / big2, 4 * a * rho / big2
    g = gap / sum_
    if rho >= a:
        g = min(g, -1e-15)
    k_int, s_int, f_int = complete_integrals(math.sqrt(kc2), k2, g)
    d_int = 0.5 * k_int * (1 + k2 * s_int)  # int sin^2/D
    b_int = k_int - d_int  # int cos^2/D
    c_int = k_int * s_int  # (d_int - b_int)/k^2
    scale = a / (math.pi * big)
    f = scale * zeta / sum_ * f_int
    c = -scale * k2 * c_int / rho
    q = -scale * zeta / rho * (d_int - g * (f_int - k_int) * sum_ / (2 * rho))
    ez = scale / big2 * (a * (d_int + b_int / kc2) - rho * k2 * (d_int - c_int) / kc2)
    d = scale * zeta / (big2 * rho) * k2 * (d_int - c_int) / kc2
    q2 = -(f + 2 * q) / (rho * rho)
    if rho < a:
        return f - 0.5 * sign, c, q + 0.25 * sign, q2, ez, d
    ratio = a * a / (rho * rho)
    return f, c, q + 0.25 * sign * ratio, q2 - 0.5 * sign * ratio / (rho * rho), ez, d
