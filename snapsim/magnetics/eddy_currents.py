"""Eddy currents in a conducting body: diffusion time, skin depth, and power lost to slow changes.

    tau = mu sigma (d / pi)^2,   delta = sqrt(2 / (mu sigma omega)),   p = sigma B' . K B'

mu [H/m], sigma [S/m]; tau [s] the slowest time constant of flux entering a plate of thickness d
[m]; delta [m] the depth where a field that changes at the rate omega [rad/s] has fallen to 1/e; p
[W/m^3] the mean loss in a body where the flux density changes at the rate B' (3,) [T/s], alike
everywhere. K (3, 3) [m^2] follows from the body's second moment S = <(x - c)(x - c)^T> (3, 3)
[m^2]; on its principal axes s1, s2, s3

    K_3 = s1 s2 / (s1 + s2), and cyclic.

Derivation: curl E = -B' leaves E a gradient to choose, and the currents choose the one of least
heat (Thomson's principle, as in Landau & Lifshitz, Electrodynamics of Continuous Media, 2nd ed.,
section 21; from memory); the best E linear in x gives K. So p is an upper bound for every body, and
exact where E is linear: ellipsoids (sphere a^2/10), round wires (axial a^2/8, transverse a^2/4) and
plates, K = d^2/12, the classical loss of a lamination (Bozorth, Ferromagnetism, 1951, ch. 17; from
memory). Faster changes are screened: in a plate the loss at a given mean flux falls by
F(d / delta), F(x) = (3/x) (sinh x - sin x)/(cosh x - cos x) (same place; from memory).
tau, delta: Jackson, Classical Electrodynamics, 3rd ed., section 5.18, and Knoepfel, Magnetic
Fields, 2000, ch. 4 (from memory).

Assumptions: the currents' own field is small (tau below the time of change) but for F; mu and sigma
uniform; no hysteresis, no domain-wall excess loss.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array


def diffusion_time(permeability: float, conductivity: float, thickness: float) -> float:
    """Return mu sigma (d / pi)^2 [s] of mu [H/m], sigma [S/m] and d [m]."""
    return permeability * conductivity * (thickness / math.pi) ** 2


def skin_depth(permeability: float, conductivity: float, rate: float) -> float:
    """Return sqrt(2 / (mu sigma omega)) [m] of omega [rad/s]; inf for a field at rest."""
    product = permeability * conductivity * rate
    return math.sqrt(2 / product) if product > 0 else math.inf


def loss_tensor(second_moment: Array) -> Array:
    """Return K (..., 3, 3) [m^2] of the second moments (..., 3, 3) [m^2] about the centre."""
    s, axes = np.linalg.eigh(second_moment)
    s = np.maximum(s, 0.0)
    a, b = np.roll(s, -1, axis=-1), np.roll(s, -2, axis=-1)
    total = a + b
    k = np.divide(a * b, total, out=np.zeros_like(total), where=total > 0)
    found: Array = np.einsum("...ik,...k,...jk->...ij", axes, k, axes)
    return found


def plate_thickness(loss: float) -> float:
    """Return the thickness [m] of the plate whose d^2 / 12 is `loss` [m^2], an entry of K."""
    return math.sqrt(12 * loss)


def skin_factor(ratio: float) -> float:
    """Return F(d / delta), from 1 (slow) to 3 delta / d (fast)."""
    if ratio < 1e-2:
        return 1.0
    if ratio > 40.0:
        return 3.0 / ratio
    over = math.sinh(ratio) - math.sin(ratio)
    return 3.0 / ratio * over / (math.cosh(ratio) - math.cos(ratio))
