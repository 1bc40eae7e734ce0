"""Coulomb's law at one contact, solved exactly: the friction disk and the friction cone.

Disk (normal impulse known): minimise 1/2 x.A x + b.x over |x| <= r, A (2, 2) positive definite.
Its solution is x = -(A + l I)^-1 b with l >= 0 and l (|x| - r) = 0: sticking where l = 0, slip
against x where l > 0.

Cone (normal impulse unknown): u = W p + q with

    0 <= p_n  perpendicular to  u_n >= 0,    |p_t| <= mu p_n,    p_t = -mu p_n u_t/|u_t| if u_t != 0

W (3, 3) symmetric positive definite [1/kg], q (3,) [m/s], p (3,) [kg m/s], axes (n, t1, t2). With
slip u_t = -l p_t and u_n = 0 what remains is one scalar equation in l >= 0, whose sign change is
bracketed. Any mu >= 0. Sources: Bonnefon & Daviet, Quartic formulation of Coulomb 3D frictional
contact, INRIA RT-0400 (2011); More & Sorensen, SIAM J. Sci. Stat. Comput. 4, 553 (1983), for the
disk (both from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare

SEPARATED, STICKING, SLIDING = 0, 1, 2


@bare
def principal_axes(a: float, b: float, d: float) -> tuple[float, float, float, float]:
    """Return (cosine, sine, d1, d2): axes and eigenvalues of [[a, b], [b, d]], none below 0."""
    if b == 0.0:
        return 1.0, 0.0, max(a, 0.0), max(d, 0.0)
    tau = (d - a) / (2.0 * b)
    root = np.sqrt(1.0 + tau * tau)
    t = 1.0 / (tau + root) if tau >= 0.0 else -1.0 / (root - tau)
    c = 1.0 / np.sqrt(1.0 + t * t)
    return c, t * c, max(a - t * b, 0.0), max(d + t * b, 0.0)


@bare
def secular_root(d1: float, d2: float, b1: float, b2: float, radius: float) -> float:
    """Return l >= 0 with b1^2/(d1 + l)^2 + b2^2/(d2 + l)^2 = radius^2, or 0 where it is smaller.

    Newton on 1/|x| - 1/radius, which is concave in l: monotone from the left, no overshoot.
    """
    root: float = 0.0
    tiny = 1e-14 * (d1 + d2)
    for _ in range(50):
        x1, x2 = b1 / (d1 + root + tiny), b2 / (d2 + root + tiny)
        square = x1 * x1 + x2 * x2
        length = np.sqrt(square)
        if length <= radius * (1.0 + 1e-15):
            return root
        slope = x1 * x1 / (d1 + root + tiny) + x2 * x2 / (d2 + root + tiny)
        step = float(square / slope * (length - radius) / radius)
        root += step
        if step <= 1e-16 * root:
            return root
    return root


@bare
def friction_disk(
    a: float, b: float, d: float, q1: float, q2: float, radius: float
) -> tuple[float, float]:
    """Return x (2,) that minimises 1/2 x.[[a, b], [b, d]] x + q.x over |x| <= radius."""
    if radius <= 0.0 or a + d <= 0.0:
        return 0.0, 0.0
    determinant = a * d - b * b
    if determinant > 1e-14 * (a + d) * (a + d):
        x1, x2 = (b * q2 - d * q1) / determinant, (b * q1 - a * q2) / determinant
        if x1 * x1 + x2 * x2 <= radius * radius:
            return x1, x2
    c, s, d1, d2 = principal_axes(a, b, d)
    b1, b2 = c * q1 - s * q2, s * q1 + c * q2
    root = secular_root(d1, d2, b1, b2, radius) + 1e-14 * (d1 + d2)
    x1, x2 = -b1 / (d1 + root), -b2 / (d2 + root)
    return c * x1 + s * x2, c * x2 - s * x1


@bare
def solve_cone(block: Array, q: Array, friction: float, impulse: Array) -> int:
    """Write the impulse (3,) of one contact into `impulse`; return its status."""
    w_nn = block[0, 0]
    impulse[:] = 0.0
    if q[0] >= 0.0 or w_nn <= 0.0:
        return SEPARATED
    if friction <= 0.0:
        impulse[0] = -q[0] / w_nn
        return SLIDING
    c1, c2 = block[0, 1] / w_nn, block[0, 2] / w_nn
    a = block[1, 1] - block[0, 1] * c1
    b = block[1, 2] - block[0, 1] * c2
    d = block[2, 2] - block[0, 2] * c2
    q1, q2, base = q[1] - c1 * q[0], q[2] - c2 * q[0], -q[0] / w_nn
    cosine, sine, d1, d2 = principal_axes(a, b, d)
    tiny = 1e-14 * (block[1, 1] + block[2, 2])
    d1, d2 = d1 + tiny, d2 + tiny
    b1, b2 = cosine * q1 - sine * q2, sine * q1 + cosine * q2
    e1, e2 = cosine * c1 - sine * c2, sine * c1 + cosine * c2
    root = _slip_rate(d1, d2, b1, b2, e1, e2, base, friction)
    x1, x2 = -b1 / (d1 + root), -b2 / (d2 + root)
    impulse[0] = base - e1 * x1 - e2 * x2
    impulse[1], impulse[2] = cosine * x1 + sine * x2, cosine * x2 - sine * x1
    return STICKING if root == 0.0 else SLIDING


@bare
def _slip_rate(
    d1: float, d2: float, b1: float, b2: float, e1: float, e2: float, base: float, friction: float
) -> float:
    """Return l >= 0 at which the impulse comes onto the cone; 0 where it sticks inside it.

    h(l) = mu p_n/|p_t| - 1 is negative at 0 unless the contact sticks, and nearly linear.
    """
    low, high, root = 0.0, np.inf, 0.0
    for _ in range(100):
        x1, x2 = -b1 / (d1 + root), -b2 / (d2 + root)
        square = x1 * x1 + x2 * x2
        normal = base - e1 * x1 - e2 * x2
        if friction * friction * normal * normal >= square and normal >= 0.0:
            if root == 0.0:
                return 0.0
            high = root
        else:
            low = root
        length = np.sqrt(square)
        y1, y2 = x1 / (d1 + root), x2 / (d2 + root)
        bend = (x1 * y1 + x2 * y2) / square
        value = friction * normal / length - 1.0
        slope = friction * (e1 * y1 + e2 * y2) / length + friction * normal / length * bend
        guess = root - value / slope if slope > 0.0 else -1.0
        if not low <= guess <= high:
            guess = 2.0 * root + d1 + d2 if high == np.inf else 0.5 * (low + high)
        if abs(guess - root) <= 2e-16 * guess:
            return guess
        root = guess
    return root
