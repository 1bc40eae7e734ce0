"""Peak force of a blow, as a band: with what two bodies meet, how hard they are, how stiff.

Rounded contact follows the elastic-plastic law of `elastic_plastic`, with the radii and wedges of
`meeting`, between two ends:

    low:  the smaller rounding alone, the lower hardness of the softer body
    high: the larger rounding with the sharp wedge beside it, the higher hardness, raised by `RATE`
          for the speed of the blow

A hardness that is given counts within `GIVEN`, one of the built-in table within `TYPICAL`; where
there is only a strength, the yield stress lies between 0.85 and 3 times that (annealed metals
harden, cast iron bears three times in compression what it does in tension). Never above Hertz
(`hertz_impact`) for spheres:

    d = (15 m V^2 / (16 E* sqrt(R)))^(2/5),   F = 4/3 E* sqrt(R) d^(3/2),   p_0 = 3 F/(2 pi a^2),
    a^2 = R d,   duration 2 sqrt(pi) G(7/5)/G(9/10) d/V = 2.943 d/V

A face that lands flat: above, the rigid punch F = V sqrt(2 E* a m) on perfect faces, but no more
than the first wave of pressure V Z_1 Z_2/(Z_1 + Z_2) on the whole face, Z = sqrt(rho M), M the
modulus of confined compression, where the striker is no heavier than the column behind the face;
below, faces out of flat or parallel by `CROWN`.

E* [Pa], R [m], m effective mass [kg], V closing speed [m/s], d, a [m], F [N]. Assumes: smooth
surfaces, contact small against the bodies, quasistatic but for the wave, no fracture (a magnet that
chips loads less). Speed and energy are the results to trust.
Source: Johnson, Contact Mechanics, 1985, sections 3.5, 4.2, 6.3, 11.4 and eqs. 11.22-11.24;
Goldsmith, Impact, 1960, chapter 2 (formulas from memory; elastic values checked against integration
of the equation of motion).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma, inf, isfinite, isnan, nan, pi, sqrt
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.elastic_plastic import NO_WEDGE, TABOR, PlasticBlow, plastic_blow
from snapsim.mechanics.meeting import Feature, Meeting, meeting
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Revolution, Shape

Normals = tuple[Array, Array]
"""Outward normals (3,) of two bodies where they touch, each in its body's own axes."""

_DURATION = 2.0 * sqrt(pi) * gamma(7.0 / 5.0) / gamma(9.0 / 10.0)
FIRST_YIELD = 1.6
"""Hertz pressure p_0 over strength at first yield."""

GIVEN: Final = (0.85, 1.15)
"""Shares between which a hardness that is given may lie."""

TYPICAL: Final = (0.7, 1.4)
"""Shares between which that of a part may lie where the table has a typical one."""

FROM_STRENGTH: Final = (0.85, 3.0)
"""Yield stress over a strength of the table: see above."""

BRITTLE: Final = 8e9
"""Hardness [Pa] that a brittle part may have of which only a strength is known: its strength says
nothing of that."""

RATE: Final = 1.3
"""Factor by which metals are harder in a blow than in a slow test (Johnson 1985, 11.5: dynamic
hardness of steels 1.2 to 1.3 times the static one, from memory)."""

CROWN: Final = 0.1e-3
"""How far a face may be out of flat or parallel [m] (common practice, no source)."""

COLUMN: Final = 1.2
"""Mass over that of the column behind a face up to which the first wave is the highest."""

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


def flat_face_force(mass: float, speed: float, area: float, modulus: float) -> float:
    """Return the elastic peak force [N] of a face of `area` [m^2] landing flat all at once.

    A rigid flat punch of radius a = sqrt(area/pi): F = 2 E* a d, so F = V sqrt(2 E* a m) (Johnson
    1985, eq. 3.36, from memory). Real faces are never that flat: an upper bound.
    """
    return max(speed, 0.0) * sqrt(2.0 * modulus * sqrt(area / pi) * mass)


def wave_force(first: Body, second: Body, speed: float, area: float, normal: Normals) -> float:
    """Return the force [N] of the first wave between two faces of `area` [m^2]; inf where a body
    that moves is heavier than the column behind its face, or a constant is not known.

    A fixed body counts as rigid.
    """
    admittance = 0.0
    for body, outward in ((first, normal[0]), (second, normal[1])):
        if body.fixed:
            continue
        thick = 2.0 * float(np.abs(outward) @ body.shape.extents)
        impedance = _impedance(body)
        if not isfinite(impedance) or body.mass > COLUMN * body.material.density * area * thick:
            return inf
        admittance += 1.0 / impedance
    return max(speed, 0.0) * area / admittance if admittance > 0.0 else inf


def _impedance(body: Body) -> float:
    e, nu = body.material.youngs_modulus, body.material.poissons_ratio
    if e is None or nu is None:
        return nan
    return sqrt(body.material.density * e * (1.0 - nu) / ((1.0 + nu) * (1.0 - 2.0 * nu)))


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


def yield_band(material: Material) -> tuple[float, float]:
    """Return the least and the largest yield stress [Pa] that a blow may meet; nan if unknown."""
    if material.hardness is not None:
        low, high = TYPICAL if "hardness" in material.source else GIVEN
        return low * material.hardness / TABOR, high * RATE * material.hardness / TABOR
    if material.strength is not None and (material.is_magnet or material.tensile_strength):
        return FROM_STRENGTH[0] * material.strength, BRITTLE / TABOR
    if material.strength is not None:
        return FROM_STRENGTH[0] * material.strength, FROM_STRENGTH[1] * RATE * material.strength
    return nan, nan


@dataclass(frozen=True)
class Contact:
    """What is known of two bodies that meet: effective modulus [Pa], least and largest yield stress
    [Pa] of the softer one (nan: not known) and its Poisson's ratio, and what meets what."""

    modulus: float
    strength: tuple[float, float]
    nu: float
    radii: tuple[float, float]
    round: bool
    met: tuple[Meeting, Meeting]

    @property
    def edged(self) -> tuple[Meeting, ...]:
        """Edges, lines and corners that meet, empty where anything is not known."""
        if any(m.feature is Feature.UNKNOWN for m in self.met):
            return ()
        sharp = Feature.EDGE, Feature.LINE, Feature.CORNER
        return tuple(m for m in self.met if m.feature in sharp)

    def blows(self, mass: float, speed: float) -> tuple[list[PlasticBlow], list[PlasticBlow]]:
        """Return blows of the softest and bluntest kind that there may be, and of the stiffest."""
        low, high = self.strength
        if self.round or not self.edged:
            soft, stiff = [(self.radii[0], NO_WEDGE)], [(self.radii[1], NO_WEDGE)]
        else:
            soft = [(m.radii[0], NO_WEDGE) for m in self.edged]
            stiff = [(m.radii[1], m.wedge) for m in self.edged]
        return (
            [plastic_blow(mass, speed, r, self.modulus, low, self.nu, w) for r, w in soft],
            [plastic_blow(mass, speed, r, self.modulus, high, self.nu, w) for r, w in stiff],
        )


def contact_of(first: Body, second: Body, normal: Normals | None = None) -> Contact:
    """Return what is known of two bodies that meet along each one's outward `normal`."""
    one, two = first.material, second.material
    bands = yield_band(one), yield_band(two)
    known = not any(isnan(band[0]) for band in bands)
    strength = (min(b[0] for b in bands), min(b[1] for b in bands)) if known else (nan, nan)
    softer = two if known and bands[1][1] < bands[0][1] else one
    outward = (None, None) if normal is None else normal
    return Contact(
        effective_modulus(
            one.youngs_modulus, one.poissons_ratio, two.youngs_modulus, two.poissons_ratio
        ),
        strength,
        softer.poissons_ratio or 0.3,
        contact_radii(first.shape, second.shape),
        Revolution.CENTRE in (first.shape.revolution, second.shape.revolution),
        (meeting(first, outward[0]), meeting(second, outward[1])),
    )


def peak_force_band(
    first: Body,
    second: Body,
    mass: float,
    speed: float,
    area: float = 0.0,
    normal: Normals | None = None,
) -> tuple[float, float]:
    """Return (low, high) [N] for a blow between two bodies.

    `mass` is the effective mass at the contact [kg], `speed` the closing speed [m/s], `area` [m^2]
    what a face landing on a face touches at once, 0 otherwise, `normal` each body's outward normal
    there in its own axes, None where how they lie is not known. Low is nan where neither hardness
    nor strength is known, both are nan where an elastic constant is not.
    """
    contact = contact_of(first, second, normal)
    if not isfinite(contact.modulus):
        return nan, nan
    if area > 0.0:
        most = inf if normal is None else wave_force(first, second, speed, area, normal)
        high = min(flat_face_force(mass, speed, area, contact.modulus), most)
        crowned = _crowned(contact, mass, speed, area)
        return min(crowned, high) if isfinite(crowned) else nan, high
    elastic = hertz_impact(mass, speed, contact.radii[1], contact.modulus).force
    if isnan(contact.strength[0]):
        return nan, elastic
    soft, stiff = contact.blows(mass, speed)
    most = inf if contact.edged and not contact.round else elastic
    high = min(max(b.force for b in stiff), most)
    return min(high, *(b.force for b in soft)), high


def _crowned(contact: Contact, mass: float, speed: float, area: float) -> float:
    """Least force [N] of a face of `area` out of flat by `CROWN`; nan where it is not known."""
    radius = area / pi / (2.0 * CROWN)
    blow = plastic_blow(mass, speed, radius, contact.modulus, contact.strength[0], contact.nu)
    return min(blow.force, TABOR * contact.strength[0] * area)
