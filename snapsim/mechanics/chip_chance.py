"""The chance that a blow chips a brittle magnet, as a bracket; never that it holds.

On a face, the ring of tension round the contact (`edge_stress`), sigma (a/r)^2 outside its radius
a, over the surface of a Weibull material (two parameters, stress sigma_0 on the area A_0), starts a
crack with the chance

    P = 1 - exp(-integral (s/sigma_0)^M dA/A_0) = 1 - exp(-(sigma/sigma_0)^M pi a^2/((M - 1) A_0))

    sigma = (1 - 2 nu) p/2,   pi a^2 = F/p,   p mean pressure, F peak force

which grows only where the ring reaches deep enough: K = beta p sqrt(a) against the toughness K_Ic.
So the force at which spheres make rings goes with their radius (Auerbach's law): it is (3 pi^2/4)
K_Ic^2 R/(beta^2 E*), Lawn's 8.6e3 K_Ic^2 R/E for beta = 0.03:

    P <= 1 - exp(-ln 2 (K/K_Ic)^M)

On the magnet's own edge or corner no ring forms and material spalls away: a chip starts near the
force F_0 = T h, T the edge toughness [N/m] and h how far in the load acts, about the rounding:

    P = 1 - exp(-ln 2 (F/F_0)^M)

A face that lands flat is taken with three times its mean pressure, for its edges. No two faces are
parallel: one corner comes first, with its rounding r, and is pressed in until the faces meet, by
`CROWN` at most, with the force of a sphere of radius r; on the magnet's own corner where the faces
that meet are at least `OWN` of its smallest side, else on its face, and at most on its rim, which
the part may overhang. So for a round side that lands along a line. The bracket is over the
constants (`ChipConstants`) and both ends of the contact.

Constants are *assumed*: strengths of sintered NdFeB are published (75 to 80 MPa in tension, 245 to
400 in bending), its K_Ic too (2.5 to 5.5 MPa m^(1/2)), a Weibull modulus or an edge toughness was
not found. Left out: flaws, plating, earlier damage, reflected waves.
Sources: Weibull, J. Appl. Mech. 18 (1951) 293; Lawn, J. Am. Ceram. Soc. 81 (1998) 1977; Morrell and
Gant, Int. J. Refract. Met. Hard Mater. 19 (2001) 293, edge toughness of hard brittle materials 100
to 500 N/mm (all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import exp, expm1, isfinite, isnan, log, pi
from typing import Final

import numpy as np

from snapsim.mechanics.chipping import UNKNOWN, Chances
from snapsim.mechanics.elastic_plastic import contact_area, plastic_blow, sphere_force
from snapsim.mechanics.meeting import Feature, edge_radii
from snapsim.mechanics.peak_force import CROWN, Contact, Normals, contact_of, flat_face_force
from snapsim.parts.bodies import Body

FACE_EDGES: Final = 3.0
"""Pressure near the edges of a face that lands flat, over the mean (our choice)."""

OWN: Final = 0.5
"""Share of the magnet's smallest side from which on its own corners are among those that meet (our
choice; which side lands is not known here)."""


@dataclass(frozen=True)
class ChipConstants:
    """Each least, typical, largest: Weibull `modulus`, `strength` [Pa] on `area` [m^2], the
    `toughness` of edges [N/m], and K_Ic/beta [Pa m^(1/2)], `growth`."""

    modulus: tuple[float, float, float] = (7.0, 10.0, 15.0)
    strength: tuple[float, float, float] = (180e6, 250e6, 330e6)
    toughness: tuple[float, float, float] = (50e3, 150e3, 300e3)
    growth: tuple[float, float, float] = (2.0e6 / 0.05, 3.0e6 / 0.035, 5.5e6 / 0.02)
    area: float = 1e-4


ASSUMED: Final = ChipConstants()


def ring_chance(stress: float, area: float, modulus: float, strength: float, unit: float) -> float:
    """Return P of a ring stress [Pa] round a contact of `area` [m^2]; `unit` is A_0."""
    if stress <= 0.0 or area <= 0.0:
        return 0.0
    hazard = modulus * log(stress / strength) + log(area / ((modulus - 1.0) * unit))
    return -expm1(-exp(min(hazard, 50.0)))


def growth_chance(force: float, pressure: float, growth: float, modulus: float) -> float:
    """Return P that a ring crack under a force [N] at a mean pressure [Pa] grows; `growth` is
    K_Ic/beta [Pa m^(1/2)]."""
    if force <= 0.0 or pressure <= 0.0:
        return 0.0
    hazard = modulus * log(pressure * (force / (pi * pressure)) ** 0.25 / growth)
    return -expm1(-log(2.0) * exp(min(hazard, 50.0)))


def edge_chance(force: float, toughness: float, inset: float, modulus: float) -> float:
    """Return P of a force [N] on an edge, `inset` h [m] from it."""
    if force <= 0.0:
        return 0.0
    hazard = modulus * log(force / (toughness * inset))
    return -expm1(-log(2.0) * exp(min(hazard, 50.0)))


def chip_chances(
    first: Body,
    second: Body,
    mass: float,
    speed: float,
    area: float = 0.0,
    normal: Normals | None = None,
) -> Chances:
    """Return the chances that a blow chips a magnet that takes part; of two, the one more at risk.

    Arguments as for `peak_force.peak_force_band`; nan without a magnet and for what is unknown.
    """
    contact = contact_of(first, second, normal)
    if not isfinite(contact.modulus):
        return UNKNOWN
    (one, two), blow = contact.met, (mass, speed, area)
    found = [
        _of_magnet(*bodies, features, contact, blow)
        for bodies, features in (
            ((first, second), (one.feature, two.feature)),
            ((second, first), (two.feature, one.feature)),
        )
        if bodies[0].is_permanent
    ]
    return max(
        found, key=lambda chances: -1.0 if isnan(chances[2]) else chances[2], default=UNKNOWN
    )


def constants_of(magnet: Body) -> ChipConstants:
    """Return the constants of a magnet's material; a strength that it gives holds to a tenth."""
    given, strength = magnet.material.weibull_modulus, magnet.material.weibull_strength
    return ChipConstants(
        modulus=ASSUMED.modulus if given is None else (given, given, given),
        strength=ASSUMED.strength
        if strength is None
        else (0.9 * strength, strength, 1.1 * strength),
    )


def _of_magnet(
    magnet: Body,
    other: Body,
    features: tuple[Feature, Feature],
    contact: Contact,
    blow: tuple[float, float, float],
) -> Chances:
    constants = constants_of(magnet)
    pressed = _pressed(contact, *blow)
    if not pressed or any(isnan(f) or isnan(p) for f, p in pressed):
        return UNKNOWN
    if blow[2] == 0.0 and features[0] in (Feature.EDGE, Feature.CORNER):
        return _on_edge(pressed, edge_radii(magnet), constants)
    along = _on_face(magnet, pressed, constants)
    if blow[2] == 0.0 and Feature.LINE not in features:
        return along
    own = features[0] is Feature.LINE or blow[2] >= OWN * _least_side(magnet)
    first = _corner_first(magnet, None if own else other, contact, blow[:2], constants)
    # a part that overhangs the pole has the magnet's own rim under it: where it lies is not known
    rim = first if own else _corner_first(magnet, None, contact, blow[:2], constants)
    return along[0], max(along[1], first[1]), max(along[2], first[2], rim[2])


def _least_side(magnet: Body) -> float:
    """Area [m^2] of the smallest side of the box round it."""
    x, y, _ = sorted(2.0 * float(e) for e in magnet.shape.extents)
    return x * y


def _corner_first(
    magnet: Body,
    other: Body | None,
    contact: Contact,
    blow: tuple[float, float],
    constants: ChipConstants,
) -> Chances:
    """Chances where what lands flat or along a line is out of parallel by up to `CROWN`: on the
    magnet's own corner, or on its face with a corner of `other`."""
    radii = edge_radii(magnet if other is None else other)
    pressed = [
        _until_flat(contact, *blow, radius, strength)
        for radius, strength in zip(radii, contact.strength, strict=True)
    ]
    if any(isnan(f) for f, _ in pressed):
        return 0.0, 0.0, 0.0
    if other is None:
        return _on_edge(pressed, radii, constants)
    return _on_face(magnet, pressed, constants)


def _until_flat(
    contact: Contact, mass: float, speed: float, radius: float, strength: float
) -> tuple[float, float]:
    """Force [N] and mean pressure [Pa] on a corner of `radius` until the faces beside it meet."""
    found = plastic_blow(mass, speed, radius, contact.modulus, strength, contact.nu)
    if not found.indentation > CROWN:
        return found.force, found.pressure
    law = radius, contact.modulus, strength, contact.nu
    force = float(sphere_force(np.array(CROWN), *law))
    return force, force / contact_area(CROWN, *law)


def _on_edge(
    pressed: Sequence[tuple[float, float]], inset: tuple[float, float], constants: ChipConstants
) -> Chances:
    each = [
        edge_chance(f, t, h, m)
        for (f, _), t, h, m in product(pressed, constants.toughness, inset, constants.modulus)
    ]
    force = (pressed[0][0] * pressed[-1][0]) ** 0.5
    middle = edge_chance(force, constants.toughness[1], 0.5 * sum(inset), constants.modulus[1])
    return min(each), middle, max(each)


def _on_face(
    magnet: Body, pressed: Sequence[tuple[float, float]], constants: ChipConstants
) -> Chances:
    share = 0.5 * (1.0 - 2.0 * (magnet.material.poissons_ratio or 0.24))

    def chance(force: float, pressure: float, at: tuple[float, float, float]) -> float:
        modulus, strength, growth = at
        starts = ring_chance(share * pressure, force / pressure, modulus, strength, constants.area)
        return min(starts, growth_chance(force, pressure, growth, modulus))

    ends = [(f, p) for f, p in pressed if p > 0.0]
    if not ends:
        return 0.0, 0.0, 0.0
    all_constants = constants.modulus, constants.strength, constants.growth
    each = [chance(*end, at) for end, at in product(ends, product(*all_constants))]
    force = (pressed[0][0] * pressed[-1][0]) ** 0.5
    pressure = (pressed[0][1] * pressed[-1][1]) ** 0.5
    middle = chance(
        force, pressure, (all_constants[0][1], all_constants[1][1], all_constants[2][1])
    )
    return min(each), middle, max(each)


def _pressed(contact: Contact, mass: float, speed: float, area: float) -> list[tuple[float, float]]:
    """Force [N] and mean pressure [Pa] at both ends of what the contact may be."""
    if area > 0.0:
        force = flat_face_force(mass, speed, area, contact.modulus)
        return [(force, force / area), (force, FACE_EDGES * force / area)]
    soft, stiff = contact.blows(mass, speed)
    return [(b.force, b.pressure) for b in (*soft, *stiff)]
