"""How stiff contacts are in a blow, by material and shape: what decides how a blow is shared.

    at a point or a corner     F = k x^(3/2),  k = 4/3 E* sqrt(R)           (Hertz)
    along a line of length L   F = k x,        k = pi/4 E* L                 (cylinder on flat)
    face on face of area A     F = k x,        k = 2 E* sqrt(A/pi)           (flat punch)

1/E* = (1 - nu_1^2)/E_1 + (1 - nu_2^2)/E_2 [Pa], R from `contact_radii` [m], x compression [m]; k of
a line or a face is shared evenly by the points that bear it. Which of the three it is follows from
how many points of a pair touch. A material without a modulus counts as `USUAL_MODULUS`. Of a blow
at several contacts only the ratios of stiffnesses matter. Assumes what `peak_force` assumes; a line
gives way by a logarithm more, left out; coatings and tapes are taken as rigid.
Source: Johnson, Contact Mechanics, 1985, eqs. 4.23, 3.36 and section 5.6 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, pi, sqrt
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.peak_force import contact_radii, effective_modulus
from snapsim.mechanics.spanned_area import spanned_area
from snapsim.parts.bodies import Body

USUAL_MODULUS: Final = 1e11
"""E* [Pa] where a material's modulus is not known: between steels (115 GPa) and a magnet on steel
(our choice)."""


@dataclass(frozen=True)
class Springs:
    """Of c contacts: `stiffness` k (c,), [N/m] where `linear` (c,), else [N/m^(3/2)]."""

    stiffness: Array
    linear: BoolArray


def equal_springs(count: int) -> Springs:
    """Return springs of Hertz, as stiff as each other."""
    return Springs(np.ones(count), np.zeros(count, dtype=np.bool_))


@dataclass(frozen=True)
class ContactStiffness:
    """What the contacts of any two of n bodies can be: `modulus` E* (n, n) [Pa], `radius` R (n, n)
    [m] at a point."""

    modulus: Array
    radius: Array

    def springs(self, contacts: ContactSet) -> Springs:
        """Return the springs of contacts that touch at one moment."""
        found = equal_springs(len(contacts))
        for a, b in sorted(set(map(tuple, contacts.pair.tolist()))):
            mine = np.flatnonzero((contacts.pair[:, 0] == a) & (contacts.pair[:, 1] == b))
            k, linear = self._of_pair(a, b, contacts.point[mine], contacts.normal[mine])
            found.stiffness[mine], found.linear[mine] = k, linear
        return found

    def _of_pair(self, a: int, b: int, points: Array, normals: Array) -> tuple[float, bool]:
        """Stiffness of each of the points (k, 3) at which two bodies touch, and if it is linear."""
        modulus, share = self.modulus[a, b], len(points)
        if share > 1 and np.all(normals @ normals[0] > 0.99):
            area = spanned_area(points, normals[0])
            if area > 0.0:
                return 2.0 * modulus * sqrt(area / pi) / share, True
            length = float(np.linalg.norm(points - points[0], axis=1).max())
            if length > 0.0:
                return 0.25 * pi * modulus * length / share, True
        return 4.0 / 3.0 * modulus * sqrt(self.radius[a, b]), False


def contact_stiffness(bodies: Sequence[Body]) -> ContactStiffness:
    """Return how stiff any two of `bodies` are against each other."""
    pairs = [[_of_two(one, other) for other in bodies] for one in bodies]
    table = np.array(pairs, dtype=np.float64).reshape(len(bodies), len(bodies), 2)
    return ContactStiffness(table[..., 0], table[..., 1])


def _of_two(one: Body, other: Body) -> tuple[float, float]:
    """E* [Pa] and R [m] of two bodies."""
    a, b = one.material, other.material
    modulus = effective_modulus(
        a.youngs_modulus, a.poissons_ratio, b.youngs_modulus, b.poissons_ratio
    )
    return USUAL_MODULUS if isnan(modulus) else modulus, contact_radii(one.shape, other.shape)[0]
