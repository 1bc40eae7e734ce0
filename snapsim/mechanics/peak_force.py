"""Peak force of a blow: a band between yielding and elastic contact (Hertz).

Elastic (upper): with 1/E* = (1 - nu_1^2)/E_1 + (1 - nu_2^2)/E_2, 1/R = 1/R_1 + 1/R_2, m the
effective mass and V the closing speed,

    d = (15 m V^2 / (16 E* sqrt(R)))^(2/5),   F = 4/3 E* sqrt(R) d^(3/2),   p_0 = 3 F/(2 pi a^2),
    a^2 = R d,   duration 2 sqrt(pi) G(7/5)/G(9/10) d/V = 2.943 d/V

Yielding (lower): first yield comes at p_0 = 1.6 Y of the weaker material, a mean pressure of
1.07 Y, which only rises later (to about 3 Y) while the area is at least the elastic pi R d. So
with that pressure throughout, 1/2 m V^2 = 1.07 Y pi R d^2/2 and F = V sqrt(1.07 pi Y R m). Below
first yield the blow is elastic and both ends meet; the lower end never exceeds the upper.

E* [Pa], R [m], m [kg], V [m/s], d [m], a [m], F [N], p_0 [Pa], Y strength [Pa]. Assumes: smooth
surfaces, contact small against R, quasistatic (duration long against the time of sound through
the parts), no fracture. With friction and at edges the band is a guide only; speed and energy are
the results to trust. Where a sphere does not meet a sphere or a flat, R is an equivalent radius,
see `equivalent_radius` and `flat_face_force`.
Source: Johnson, Contact Mechanics, 1985, sections 4.2, 6.1-6.3, 11.4 and eqs. 11.22-11.24, 11.37
(formulas from memory; elastic values checked against integration of the equation of motion).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma, inf, isfinite, nan, pi, sqrt

from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Revolution, Shape

_DURATION = 2.0 * sqrt(pi) * gamma(7.0 / 5.0) / gamma(9.0 / 10.0)
FIRST_YIELD = 1.6
"""Hertz pressure p_0 over strength at first yield."""

_YIELD_PRESSURE = 2.0 / 3.0 * FIRST_YIELD

EDGE_RADIUS = 0.5e-3
"""Rounding taken for an edge or corner of a machined part [m] (common practice, no source)."""


@dataclass(frozen=True)
class HertzImpact:
    """An elastic blow: `force` [N], `indentation` [m], `duration` [s], `pressure` p_0 [Pa]."""

    force: float
    indentation: float
    duration: float
    pressure: float


def effective_modulus(
    youngs_1: float | None, poisson_1: float | None, youngs_2: float | None, poisson_2: float | None
) -> float:
    """Return E* [Pa] of two materials; nan where a constant is missing (None or nan)."""
    if youngs_1 is None or poisson_1 is None or youngs_2 is None or poisson_2 is None:
        return nan
    return 1.0 / ((1.0 - poisson_1**2) / youngs_1 + (1.0 - poisson_2**2) / youngs_2)


def effective_radius(radius_1: float, radius_2: float) -> float:
    """Return R [m] from 1/R = 1/R_1 + 1/R_2; `inf` is a flat, a hollow surface is negative."""
    curvature = 1.0 / radius_1 + 1.0 / radius_2
    return inf if curvature == 0.0 else 1.0 / curvature


def equivalent_radius(radius_1: float, radius_2: float) -> float:
    """Return sqrt(R' R'') [m]: one radius for a surface of two unequal principal radii.

    Good to a few per cent of the force for ratios up to about ten (Johnson 1985, section 4.2, from
    memory). For an edge take its rounding (EDGE_RADIUS) and half its length in contact; for a
    corner its rounding twice; for a cylinder's side its radius and half its length.
    """
    return sqrt(radius_1 * radius_2)


def hertz_impact(mass: float, speed: float, radius: float, modulus: float) -> HertzImpact:
    """Return the elastic blow of effective `mass` [kg] at closing `speed` [m/s].

    `radius` is R [m], `modulus` E* [Pa]. No blow (all zero) for a speed of zero or below; nan
    everywhere where an input is not finite.
    """
    if not all(isfinite(x) for x in (mass, speed, radius, modulus)):
        return HertzImpact(nan, nan, nan, nan)
    if speed <= 0.0:
        return HertzImpact(0.0, 0.0, 0.0, 0.0)
    depth = (15.0 * mass * speed**2 / (16.0 * modulus * sqrt(radius))) ** 0.4
    force = 4.0 / 3.0 * modulus * sqrt(radius) * depth**1.5
    pressure = 1.5 * force / (pi * radius * depth)
    return HertzImpact(force, depth, _DURATION * depth / speed, pressure)


def plastic_force(mass: float, speed: float, radius: float, strength: float) -> float:
    """Return the least force [N] at which yielding contact stops the blow, Y = `strength` [Pa]."""
    return max(speed, 0.0) * sqrt(pi * _YIELD_PRESSURE * strength * radius * mass)


def flat_face_force(mass: float, speed: float, area: float, modulus: float) -> float:
    """Return the elastic peak force [N] of a face of `area` [m^2] landing flat all at once.

    A rigid flat punch of radius a = sqrt(area/pi): F = 2 E* a d, so F = V sqrt(2 E* a m) (Johnson
    1985, eq. 3.36, from memory). Real faces are never that flat: an upper bound.
    """
    return max(speed, 0.0) * sqrt(2.0 * modulus * sqrt(area / pi) * mass)


def flat_face_band(
    mass: float, speed: float, area: float, modulus: float, strength: float | None
) -> tuple[float, float]:
    """Return (low, high) [N] for a face of `area` landing flat; a pressure of Y caps low."""
    elastic = flat_face_force(mass, speed, area, modulus)
    if not isfinite(elastic) or strength is None or not isfinite(strength):
        return nan, elastic
    return min(strength * area, elastic), elastic


def force_band(
    mass: float,
    speed: float,
    radii: tuple[float, float],
    modulus: float,
    strength: float | None,
) -> tuple[float, float]:
    """Return (low, high) [N]: yield-limited on the first radius, elastic on the second.

    `strength` is that of the weaker material [Pa]; low is nan where it is missing, both are nan
    where the modulus is. Where the sharper contact stays below first yield low is elastic too.
    """
    high = hertz_impact(mass, speed, radii[1], modulus).force
    sharp = hertz_impact(mass, speed, radii[0], modulus)
    if not isfinite(high) or strength is None or not isfinite(strength):
        return nan, high
    if sharp.pressure <= FIRST_YIELD * strength:
        return min(sharp.force, high), high
    return min(plastic_force(mass, speed, radii[0], strength), sharp.force, high), high


def contact_radii(first: Shape, second: Shape) -> tuple[float, float]:
    """Return (sharp, blunt) effective radii [m] that two shapes may meet with.

    Spheres: the exact effective radius, twice. A sphere on anything else: its radius, as on a
    flat. Two others: sharp is an edge across a flat, sqrt(EDGE_RADIUS x half the smaller part's
    largest size), blunt that half size itself, as of a crowned face (our choice; a force goes with
    the fifth root of the radius, so it matters little).
    """
    round_1, round_2 = (s.revolution is Revolution.CENTRE for s in (first, second))
    size_1, size_2 = float(max(first.extents)), float(max(second.extents))
    if round_1 and round_2:
        radius = effective_radius(size_1, size_2)
        return radius, radius
    if round_1 or round_2:
        radius = size_1 if round_1 else size_2
        return radius, radius
    blunt = min(size_1, size_2)
    return min(equivalent_radius(EDGE_RADIUS, blunt), blunt), blunt


def peak_force_band(
    first: Body, second: Body, mass: float, speed: float, area: float = 0.0
) -> tuple[float, float]:
    """Return (low, high) [N] for a blow between two bodies.

    `mass` is the effective mass at the contact [kg], `speed` the closing speed [m/s]. Yield is
    that of the weaker material; low is nan where a strength is not known, both are nan where an
    elastic constant is not. `area` [m^2] is what a face landing flat on a face touches at once, 0
    otherwise. Then the band also holds `flat_face_band`: its upper end is that of faces perfectly
    flat and parallel, its lower end that of faces a little crowned or tilted, as real ones are.
    """
    one, two = first.material, second.material
    modulus = effective_modulus(
        one.youngs_modulus, one.poissons_ratio, two.youngs_modulus, two.poissons_ratio
    )
    strengths = (one.strength, two.strength)
    known = [s for s in strengths if s is not None]
    strength = min(known) if len(known) == 2 else None
    band = force_band(mass, speed, contact_radii(first.shape, second.shape), modulus, strength)
    if not area > 0.0:
        return band
    flat = flat_face_band(mass, speed, area, modulus, strength)
    return min(band[0], flat[0]), max(band[1], flat[1])
