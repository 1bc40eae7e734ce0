"""The anhysteretic curve M(H) of an isotropic soft material, its slope and its energy.

M(H) is odd and rising; H and M in A/m, B = mu_0 (H + M). Linear: M = chi H. Saturating
(Froehlich 1881, Kennelly 1891, as given by Bozorth, Ferromagnetism, 1951, p. 476; from memory):
M = chi H / (1 + chi H / M_s). Table of (H, B): monotone cubic interpolation of M = B/mu_0 - H
(Fritsch & Carlson, SIAM J. Numer. Anal. 17, 238 (1980)) and constant M beyond the last point.

The energy density of the magnetised material is mu_0 w, w(m) = int_0^m H dM [A^2/m^2]; its
Legendre partner is the coenergy g(H) = int_0^H M dH', and w = m H - g. Everything is an explicit
function of H, so that saturation, where H(m) is steep, costs no accuracy.

Assumptions: no hysteresis, no anisotropy, no temperature. So that H(m) exists on a flat table,
`RESIDUAL_SLOPE` H is added to a tabulated M: 1 part in 10^6 of H, 0.4 A/m at half a tesla.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from snapsim.arrays import Array, ArrayLike, IntArray, as_floats
from snapsim.constants import MU_0
from snapsim.numerics.compilation import bare, part_of_caller
from snapsim.parts.materials import MagnetisationCurve

RESIDUAL_SLOPE = 1e-6
"""dM/dH added to tabulated curves everywhere, so that they rise strictly."""

SATURATING, TABLE = 0, 1

STEPS = 3
"""Newton's steps to a point of a table that are taken without asking whether they are needed."""


class CurveSet(NamedTuple):
    """Curves of n materials, laid out for compiled code.

    `kind` (n,) is SATURATING or TABLE; `susceptibility` (n,) is the largest dM/dH; `saturation`
    (n,) is M_s [A/m] (inf: linear). Table i owns rows first[i]:first[i+1] of `knots` (k,) [A/m],
    of `cubics` (k, 4) (M = a + s (b + s (c + s d)), s = H - knot) and of `coenergies` (k,)
    [A^2/m^2], the coenergy at each knot.
    """

    kind: IntArray
    susceptibility: Array
    saturation: Array
    first: IntArray
    knots: Array
    cubics: Array
    coenergies: Array


def check_table(field_strength: ArrayLike, flux_density: ArrayLike) -> None:
    """Raise ValueError, naming the row (counted from 1), if (H, B) is no anhysteretic curve.

    Allowed: (k,) H [A/m] and (k,) B [T], k >= 2, from (0, 0), both strictly rising, dB/dH >= mu_0.
    """
    h, b = as_floats(field_strength), as_floats(flux_density)
    if h.ndim != 1 or h.shape != b.shape or h.size < 2:
        raise ValueError("a curve needs at least two rows of H and B, (0, 0) first")
    for row in range(h.size):
        where = f"row {row + 1} (H = {h[row]:g} A/m, B = {b[row]:g} T)"
        if not (math.isfinite(h[row]) and math.isfinite(b[row])):
            raise ValueError(f"{where}: not a number; H and B must be finite")
        if h[row] < 0 or b[row] < 0:
            raise ValueError(f"{where}: negative; give the first quadrant only, from (0, 0)")
        if row == 0 and (h[0] != 0 or b[0] != 0):
            raise ValueError(f"{where}: the first row must be (0 A/m, 0 T)")
        if row and h[row] <= h[row - 1]:
            raise ValueError(f"{where}: H must rise from row to row")
        if row and b[row] <= b[row - 1]:
            raise ValueError(f"{where}: B must rise from row to row")
        if row and b[row] - b[row - 1] < MU_0 * (h[row] - h[row - 1]) * (1 - 1e-9):
            raise ValueError(f"{where}: B rises by less than mu_0 H from the row before it")


def check_parameters(susceptibility: float | None, saturation: float | None) -> None:
    """Raise ValueError unless chi > 0 (and finite) and saturation [T] > 0 or None."""
    if susceptibility is None or not (math.isfinite(susceptibility) and susceptibility > 0):
        raise ValueError(f"susceptibility {susceptibility}: must be a finite number above 0")
    if saturation is not None and not (math.isfinite(saturation) and saturation > 0):
        raise ValueError(f"saturation {saturation} T: must be a finite number above 0 T")


def compiled_curves(curves: list[MagnetisationCurve]) -> CurveSet:
    """Return the curves for compiled code; raises ValueError on a curve that is not allowed."""
    parts = [_table(c) if c.tabulated else _formula(c) for c in curves]
    return CurveSet(
        kind=np.array([p[0] for p in parts], dtype=np.int64),
        susceptibility=np.array([p[1] for p in parts], dtype=np.float64),
        saturation=np.array([p[2] for p in parts], dtype=np.float64),
        first=np.cumsum([0] + [len(p[3]) for p in parts]).astype(np.int64),
        knots=np.concatenate([np.empty(0), *(p[3] for p in parts)]),
        cubics=np.ascontiguousarray(np.concatenate([np.empty((0, 4)), *(p[4] for p in parts)])),
        coenergies=np.concatenate([np.empty(0), *(p[5] for p in parts)]),
    )


_Part = tuple[int, float, float, Array, Array, Array]


def _formula(curve: MagnetisationCurve) -> _Part:
    check_parameters(curve.susceptibility, curve.saturation)
    chi = float(curve.susceptibility or 0.0)
    limit = math.inf if curve.saturation is None else curve.saturation / MU_0
    return SATURATING, chi, limit, np.empty(0), np.empty((0, 4)), np.empty(0)


def _table(curve: MagnetisationCurve) -> _Part:
    check_table(curve.field_strength, curve.flux_density)
    h = as_floats(curve.field_strength)
    m = np.maximum.accumulate(as_floats(curve.flux_density) / MU_0 - h)
    from scipy.interpolate import PchipInterpolator  # slow to import, needed for tables alone

    pieces = PchipInterpolator(h, m).c[::-1].T
    cubics = np.vstack([pieces, [m[-1], 0.0, 0.0, 0.0]])
    cubics[:, 0] += RESIDUAL_SLOPE * h
    cubics[:, 1] += RESIDUAL_SLOPE
    step = np.diff(h)
    a, b, c, d = pieces.T
    area = step * (a + step * (b / 2 + step * (c / 3 + step * d / 4)))
    coenergy = np.concatenate([[0.0], np.cumsum(area)]) + RESIDUAL_SLOPE * h * h / 2
    # The slope of a cubic is a parabola: largest at an end or at its vertex.
    vertex = np.clip(np.divide(-c, 3 * d, out=np.zeros_like(c), where=d < 0), 0, step)
    slopes = [b + s * (2 * c + s * 3 * d) for s in (0 * step, vertex, step)]
    return TABLE, float(np.max(slopes)) + RESIDUAL_SLOPE, float(m[-1]), h, cubics, coenergy


@bare
def state_at(curves: CurveSet, i: int, h: float) -> tuple[float, float, float]:
    """Return M [A/m], dM/dH and the coenergy [A^2/m^2] of curve `i` at H = `h` >= 0 [A/m]."""
    if curves.kind[i] == SATURATING:
        chi, limit = curves.susceptibility[i], curves.saturation[i]
        x = chi * h / limit
        if x < 1e-4:  # series of the logarithm; the next term is below 1e-16 of the first
            series = 0.5 - x * (1.0 / 3.0 - x * (0.25 - x * (0.2 - x / 6.0)))
            return chi * h / (1 + x), chi / (1 + x) ** 2, chi * h * h * series
        return chi * h / (1 + x), chi / (1 + x) ** 2, limit * limit / chi * (x - math.log1p(x))
    low = _row(curves, i, 1.0, 0.0, h)
    a, b, c, d = (
        curves.cubics[low, 0], curves.cubics[low, 1], curves.cubics[low, 2], curves.cubics[low, 3],
    )  # fmt: skip
    s = h - curves.knots[low]
    area = s * (a + s * (b / 2 + s * (c / 3 + s * d / 4)))
    return a + s * (b + s * (c + s * d)), b + s * (2 * c + s * 3 * d), curves.coenergies[low] + area


@part_of_caller
def _row(curves: CurveSet, i: int, along: float, across: float, target: float) -> int:
    """Return the last row of table `i` where along H + across M is not above the target.

    Halves the table without a branch that depends on data: those would cost more than the rest.
    """
    low, size = curves.first[i], curves.first[i + 1] - curves.first[i]
    while size > 1:
        half = size // 2
        at = low + half
        left = along * curves.knots[at] + across * curves.cubics[at, 0]
        low = at if left <= target else low
        size -= half
    return int(low)


@bare
def crossing(
    curves: CurveSet, i: int, along: float, across: float, target: float, guess: float
) -> float:
    """Return H >= 0 [A/m] with along H + across M(H) = `target` >= 0 on curve `i`.

    (0, 1) inverts the curve (inf at or above the saturation of a formula); (1, N) is the working
    point on the load line of a demagnetising factor N; (1, -1/chi), chi the largest slope, takes
    out the linear part. The left side must rise with H. `guess` [A/m] only saves steps.
    """
    if not target > 0:
        return 0.0
    if curves.kind[i] == SATURATING:
        return _crossing_of_formula(curves, i, along, across, target)
    return _crossing_of_table(curves, i, along, across, target, guess)


@part_of_caller
def _crossing_of_table(
    curves: CurveSet, i: int, along: float, across: float, target: float, guess: float
) -> float:
    """A few of Newton's steps without a branch that depends on data, and others where they fail."""
    low, last = _row(curves, i, along, across, target), curves.first[i + 1] - 1
    knot, right = curves.knots[low], math.inf
    if low < last:
        right = curves.knots[low + 1] - knot
    a, b, c, d = (
        curves.cubics[low, 0], curves.cubics[low, 1], curves.cubics[low, 2], curves.cubics[low, 3],
    )  # fmt: skip
    rest = target - along * knot - across * a
    new = min(max(guess - knot, 0.0), right)
    s = new
    for _ in range(STEPS):
        s = new
        value = along * s + across * s * (b + s * (c + s * d)) - rest
        new = s - value / (along + across * (b + s * (2 * c + s * 3 * d)))
        new = min(max(new, 0.0), right)
    if abs(new - s) <= 1e-7 * right:  # Newton's next error is the square of this one
        return float(knot + new)
    if low == last:
        return float(knot + rest / (along + across * b))
    return _bracketed(curves, low, along, across, rest)


@bare
def _bracketed(curves: CurveSet, low: int, along: float, across: float, rest: float) -> float:
    """Return the crossing in row `low` of a table, by Newton's steps and halving."""
    knot, b, c, d = (
        curves.knots[low], curves.cubics[low, 1], curves.cubics[low, 2], curves.cubics[low, 3],
    )  # fmt: skip
    left, right = 0.0, curves.knots[low + 1] - knot
    gain = along * right + across * (curves.cubics[low + 1, 0] - curves.cubics[low, 0])
    s = right * min(rest / gain, 1.0) if gain > 0 else 0.5 * right
    near = 1e-7 * right
    for _ in range(200):
        value = along * s + across * s * (b + s * (c + s * d)) - rest
        if value < 0:
            left = s
        else:
            right = s
        new = s - value / (along + across * (b + s * (2 * c + s * 3 * d)))
        if not left <= new <= right:
            new = 0.5 * (left + right)
        elif abs(new - s) <= near:
            return float(knot + new)
        s = new
    return float(knot + s)


@part_of_caller
def _crossing_of_formula(
    curves: CurveSet, i: int, along: float, across: float, target: float
) -> float:
    # (along c) H^2 + (along + across chi - c target) H - target = 0, c = chi / M_s.
    chi = curves.susceptibility[i]
    c = chi / curves.saturation[i]
    square, middle = along * c, along + across * chi - c * target
    if square == 0:
        return target / middle if middle > 0 else math.inf
    root = math.sqrt(middle * middle + 4 * square * target)
    h: float = 2 * target / (middle + root) if middle > 0 else (root - middle) / (2 * square)
    return h
