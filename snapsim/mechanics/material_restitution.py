"""Restitution of a blow from what the bodies are made of, by the law of the peak force.

    e^2 = (1 - l) W_e/W,    l = 1.04 (V/c)^(3/5)

W_e over W is what `elastic_plastic.plastic_blow` gives back of the work of pressing in, l the share
that goes off as waves into a thick body (Hunter), c = sqrt(E/rho) of the slower material. Hardness
is taken in the middle (geometric mean) of what it may be (`peak_force.yield_band`), that of a
brittle part of which only a strength is known at `BRITTLE`; e is the mean of what the smallest and
the largest rounding at the contact give. A face that lands flat comes down with an edge or a corner
first: it has the radii of one.

V closing speed [m/s], effective mass [kg] at the contact. Assumes: metals, magnets and ceramics
(wood and plastics lose by their own inner friction), bodies that are thick against the contact, no
ringing, no tape or coating: all of these lose more, so e is rather too high. Spread of e by typical
hardness: about a fifth up and down.
Sources: Johnson, Contact Mechanics, 1985, 11.4 and 11.5; Hunter, J. Mech. Phys. Solids 5 (1957) 162
(both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite, isnan, nan, sqrt
from typing import Final

from snapsim.mechanics.elastic_plastic import TABOR, PlasticBlow
from snapsim.mechanics.peak_force import BRITTLE, Contact, Normals, contact_of, yield_band
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material

WAVES: Final = 1.04
"""Share of a blow's energy that goes into waves, over (V/c)^(3/5)."""

OUTSIDE: Final = ("wood", "plastic", "concrete")
"""Families of materials that the law says nothing of."""


@dataclass(frozen=True)
class MaterialRestitution:
    """The restitution of any two of n `bodies`."""

    bodies: Sequence[Body]

    def of(self, a: int, b: int, mass: float, speed: float, normal: Normals | None = None) -> float:
        """Return e of bodies number `a` and `b`; see `restitution_of`."""
        return restitution_of(self.bodies[a], self.bodies[b], mass, speed, normal)


def restitution_of(
    first: Body, second: Body, mass: float, speed: float, normal: Normals | None = None
) -> float:
    """Return e, 0 to 1, of a blow with effective `mass` [kg] at closing `speed` [m/s].

    `normal` as for `peak_force.peak_force_band`; nan where a constant is not known (`missing`).
    """
    return restitution_band(first, second, mass, speed, normal)[1]


def restitution_band(
    first: Body, second: Body, mass: float, speed: float, normal: Normals | None = None
) -> tuple[float, float, float]:
    """Return e with the softest and bluntest there may be, in the middle, and at its highest."""
    contact = contact_of(first, second, normal)
    middle = min(_middle_yield(first.material), _middle_yield(second.material))
    kept = 1.0 - WAVES * (max(speed, 0.0) / _slower(first.material, second.material)) ** 0.6
    if not (isfinite(contact.modulus) and isfinite(middle) and isfinite(kept)):
        return nan, nan, nan
    low, high = (min(middle, contact.strength[0]), max(middle, contact.strength[1]))
    ends = [[b.restitution for b in _blows(contact, y, mass, speed)] for y in (low, middle, high)]
    found = min(ends[0]), sum(ends[1]) / len(ends[1]), max(ends[2])
    least, mean, most = (sqrt(max(kept, 0.0)) * e for e in found)
    return least, mean, most


def missing(material: Material) -> str | None:
    """Return what a material lacks for this law, in words; None where nothing does."""
    if material.hardness is None and material.family in OUTSIDE:
        return f"the law is one of metals and magnets, not of {material.family}"
    if material.hardness is None and material.strength is None:
        return "it has no hardness (nor strength)"
    if material.youngs_modulus is None:
        return "it has no youngs_modulus"
    return "it has no poissons_ratio" if material.poissons_ratio is None else None


def _blows(contact: Contact, strength: float, mass: float, speed: float) -> list[PlasticBlow]:
    """The blows of the smallest and the largest rounding, yielding at `strength` [Pa]."""
    soft, stiff = replace(contact, strength=(strength, strength)).blows(mass, speed)
    return soft + stiff


def _middle_yield(material: Material) -> float:
    low, high = yield_band(material)
    if material.hardness is None and high == BRITTLE / TABOR:
        return high
    return nan if isnan(low) else sqrt(low * high)


def _slower(one: Material, two: Material) -> float:
    """The slower speed of sound in a bar [m/s]."""
    speeds = [nan if m.youngs_modulus is None else sqrt(m.youngs_modulus / m.density)
              for m in (one, two)]  # fmt: skip
    return min(speeds)
