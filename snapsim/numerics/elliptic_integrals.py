"""Complete elliptic integrals by the arithmetic-geometric mean, compiled, without lost digits.

With D(t) = sqrt(cos^2 t + kc^2 sin^2 t) and integrals over t from 0 to pi/2:
K = int 1/D, and S such that int sin^2/D = K (1 + k^2 S)/2 and int cos^2/D = K (1 - k^2 S)/2
(Abramowitz & Stegun 17.6.3-17.6.4: (K - E)/K = 1/2 sum 2^n c_n^2; S is that sum from n = 1 divided
by k^4, so nothing cancels as k goes to 0), and
F = int (cos^2 + g sin^2)/[(cos^2 + g^2 sin^2) D] by Bulirsch's cel(kc, g^2, 1, g)
(Bulirsch, Numer. Math. 13, 305 (1969), procedure cel; from memory). Valid for 0 < kc <= 1, g != 0.
"""

from __future__ import annotations

import math

from snapsim.numerics.compilation import bare


@bare
def complete_integrals(kc: float, k2: float, g: float) -> tuple[float, float, float]:
    """Return (K, S, F) for kc = sqrt(1 - k2), k2 given apart so that no digit is lost."""
    pp = abs(g)
    ss = g / pp
    k = kc
    cc = 1.0 + ss / pp
    ratio = k / pp
    ss = 2 * (ss + ratio)
    pp += ratio
    half = 0.25 / ((1 + kc) * (1 + kc))  # c_1^2 / k^4
    total, power = 2 * half, 2.0
    previous, em, kk = 1.0, k + 1.0, k
    while abs(previous - k) > 1e-8 * previous:
        k = 2 * math.sqrt(kk)
        kk = k * em
        f = cc
        cc += ss / pp
        ratio = kk / pp
        ss = 2 * (ss + f * ratio)
        pp += ratio
        previous = em
        em = k + em
        power *= 2
        mean = em / power
        half = k2 * k2 * half * half / (16 * mean * mean)
        total += power * half
    return math.pi * power / (2 * em), total, math.pi / 2 * (ss + cc * em) / (em * (em + pp))
