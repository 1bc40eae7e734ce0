"""The chance that a blow chips a brittle magnet, as a bracket; never that it holds.

On a face, the ring of tension round the contact (`edge_stress`), sigma (a/r)^2 outside its radius
a, over the surface of a Weibull material (two parameters, stress sigma_0 on the area A_0):

    P = 1 - exp(-integral (s/sigma_0)^M dA/A_0) = 1 - exp(-(sigma/sigma_0)^M pi a^2/((M - 1) A_0))

    sigma = (1 - 2 nu) p/2,   pi a^2 = F/p,   p mean pressure, F peak force

On the magnet's own edge or corner no ring forms and material spalls away: a chip starts near the
force F_0 = T h, T the edge toughness [N/m] and h how far in the load acts, about the rounding:

    P = 1 - exp(-ln 2 (F/F_0)^M)

The bracket is over the constants (`ChipConstants`) and both ends of the contact. A face that lands
flat is taken with three times its mean pressure, for its edges. Constants are *assumed*: strengths
of sintered NdFeB are published (75 to 80 MPa in tension, 245 to 400 in bending), a Weibull modulus
or an edge toughness of it was not found. Left out: flaws, plating, earlier damage, reflected waves.
Sources: Weibull, J. Appl. Mech. 18 (1951) 293; Morrell and Gant, Int. J. Refract. Met. Hard Mater.
19 (2001) 293, edge toughness of hard brittle materials 100 to 500 N/mm (all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import exp, expm1, isfinite, isnan, log
from typing import Final

from snapsim.mechanics.chipping import UNKNOWN, Chances
from snapsim.mechanics.meeting import Feature, edge_radii
from snapsim.mechanics.peak_force import Contact, Normals, contact_of, flat_face_force
from snapsim.parts.bodies import Body

FACE_EDGES: Final = 3.0
"""Pressure near the edges of a face that lands flat, over the mean (our choice)."""


@dataclass(frozen=True)
class ChipConstants:
    """Each least, typical, largest: Weibull `modulus`, `strength` [Pa] on `area` [m^2], and the
    `toughness` of edges [N/m]."""

    modulus: tuple[float, float, float] = (7.0, 10.0, 15.0)
    strength: tuple[float, float, float] = (180e6, 250e6, 330e6)
    toughness: tuple[float, float, float] = (50e3, 150e3, 300e3)
    area: float = 1e-4


ASSUMED: Final = ChipConstants()


def ring_chance(stress: float, area: float, modulus: float, strength: float, unit: float) -> float:
    """Return P of a ring stress [Pa] round a contact of `area` [m^2]; `unit` is A_0."""
    if stress <= 0.0 or area <= 0.0:
        return 0.0
    hazard = modulus * log(stress / strength) + log(area / ((modulus - 1.0) * unit))
    return -expm1(-exp(min(hazard, 50.0)))


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
    found = [
        _of_magnet(body, met.feature, contact, (mass, speed, area))
        for body, met in zip((first, second), contact.met, strict=True)
        if body.is_magnet
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
    magnet: Body, feature: Feature, contact: Contact, blow: tuple[float, float, float]
) -> Chances:
    constants = constants_of(magnet)
    pressed = _pressed(contact, *blow)
    if not pressed or any(isnan(f) or isnan(p) for f, p in pressed):
        return UNKNOWN
    if feature in (Feature.EDGE, Feature.CORNER) and not blow[2] > 0.0:
        inset = edge_radii(magnet)
        each = [
            edge_chance(f, t, h, m)
            for (f, _), t, h, m in product(pressed, constants.toughness, inset, constants.modulus)
        ]
        force = (pressed[0][0] * pressed[-1][0]) ** 0.5
        middle = edge_chance(force, constants.toughness[1], 0.5 * sum(inset), constants.modulus[1])
        return min(each), middle, max(each)
    return _on_face(magnet, pressed, constants)


def _on_face(
    magnet: Body, pressed: Sequence[tuple[float, float]], constants: ChipConstants
) -> Chances:
    nu = magnet.material.poissons_ratio or 0.24
    share = 0.5 * (1.0 - 2.0 * nu)
    each = [
        ring_chance(share * p, f / p, m, s, constants.area)
        for (f, p), m, s in product(pressed, constants.modulus, constants.strength)
        if p > 0.0
    ]
    if not each:
        return 0.0, 0.0, 0.0
    force = (pressed[0][0] * pressed[-1][0]) ** 0.5
    pressure = (pressed[0][1] * pressed[-1][1]) ** 0.5
    middle = ring_chance(
        share * pressure,
        force / pressure,
        constants.modulus[1],
        constants.strength[1],
        constants.area,
    )
    return min(each), middle, max(each)


def _pressed(contact: Contact, mass: float, speed: float, area: float) -> list[tuple[float, float]]:
    """Force [N] and mean pressure [Pa] at both ends of what the contact may be."""
    if area > 0.0:
        force = flat_face_force(mass, speed, area, contact.modulus)
        return [(force, force / area), (force, FACE_EDGES * force / area)]
    soft, stiff = contact.blows(mass, speed)
    return [(b.force, b.pressure) for b in (*soft, *stiff)]
