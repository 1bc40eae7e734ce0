"""Tensile stress at the rim of a contact: what starts a chip in a brittle magnet.

    sigma = (1 - 2 nu) p_0 / 3,    p_0 = 3 F / (2 pi a^2)

sigma [Pa] radial stress on the surface at the circle of contact, of radius a [m], under a Hertz
pressure of maximum p_0 [Pa] and force F [N]; nu of the magnet. It falls as 1/r^2 outside, and it is
the largest tensile stress there is. Source: Johnson, Contact Mechanics, 1985, section 3.4 (from
memory; at r = a it is the stress of a point load F, as it must be).

The band: above, the sharpest contact the two shapes may meet with, nothing yielding; below, the
bluntest one, at a pressure that does not pass first yield of the part that strikes (p_0 = 1.6 Y,
Johnson 6.1; a magnet itself does not yield). Assumes what `peak_force` assumes. Left out: flaws,
plating, earlier damage, waves that reflect on far faces, corners that meet corners. So the band is
wide and only ever a reason for care: a magnet may chip below it too.
"""

from __future__ import annotations

from math import isfinite, nan

from snapsim.mechanics.peak_force import (
    FIRST_YIELD,
    contact_radii,
    effective_modulus,
    hertz_impact,
)
from snapsim.parts.bodies import Body

NO_STRESS = (nan, nan), nan


def rim_stress(pressure: float, poissons_ratio: float) -> float:
    """Return sigma [Pa] for the pressure p_0 [Pa]."""
    return (1.0 - 2.0 * poissons_ratio) * pressure / 3.0


def chipping_strength(magnet: Body) -> float:
    """Return what to hold the stress against [Pa]: tensile strength, else strength, else nan."""
    known = magnet.material.tensile_strength, magnet.material.strength
    return next((s for s in known if s is not None), nan)


def magnet_edge_stress(
    first: Body, second: Body, mass: float, speed: float
) -> tuple[tuple[float, float], float]:
    """Return the band of sigma [Pa] in the magnet of a blow, and that magnet's strength [Pa].

    `mass` [kg] is the effective mass at the contact, `speed` [m/s] the closing speed. Of two
    magnets the one nearer to its strength is meant; nan without a magnet and for what is unknown.
    """
    found = [
        (_band(one, other, mass, speed), chipping_strength(one))
        for one, other in ((first, second), (second, first))
        if one.is_permanent
    ]
    return max(found, key=_nearness, default=NO_STRESS)


def _nearness(found: tuple[tuple[float, float], float]) -> float:
    share = found[0][1] / found[1]
    return share if isfinite(share) else -1.0


def _band(magnet: Body, other: Body, mass: float, speed: float) -> tuple[float, float]:
    one, two = magnet.material, other.material
    if one.poissons_ratio is None:
        return nan, nan
    modulus = effective_modulus(
        one.youngs_modulus, one.poissons_ratio, two.youngs_modulus, two.poissons_ratio
    )
    sharp, blunt = (
        hertz_impact(mass, speed, radius, modulus).pressure
        for radius in contact_radii(magnet.shape, other.shape)
    )
    if not other.is_permanent:
        blunt = nan if two.strength is None else min(blunt, FIRST_YIELD * two.strength)
    return rim_stress(blunt, one.poissons_ratio), rim_stress(sharp, one.poissons_ratio)
