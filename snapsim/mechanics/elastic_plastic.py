"""Elastic-plastic contact of a rounded body with a flat one: force over indentation, and a blow.

Sphere of radius R on a flat, E* effective modulus, Y yield stress, H = 2.84 Y hardness (Tabor),
w indentation, Jackson and Green's fit to finite elements:

    w_c = (pi C Y/(2 E*))^2 R,    P_c = (4/3) (R/E*)^2 (pi C Y/2)^3,    C = 1.295 exp(0.736 nu)
    P/P_c = x^(3/2),  x = w/w_c                                             x <= 1.9
    P/P_c = exp(-x^(5/12)/4) x^(3/2) + 4 H_G/(C Y) (1 - exp(-x^(5/9)/25)) x     above
    H_G/Y = 2.84 (1 - exp(-0.82 (pi C e/2 sqrt(x) (x/1.9)^(B/2))^(-0.7)))
    e = Y/E*,  B = 0.14 exp(23 e),  area pi R w (x/1.9)^B

The mean pressure rises from first yield to 2.84 Y and falls again where the contact radius is no
longer small against R. A blow of mass m and speed V presses in until the work is m V^2/2; its
peak force is P there. It rebounds with Hertz' energy of that force on a surface flattened by the
dent: e^2 = W_e/W. Beside the rounding a wedge or a corner may sink in, over an area that grows with
w (`Wedge`), at the pressure H, with half of its elastic energy counted: more than it can bear. A
shallow one does not yield: its pressure is at most E* w/b, b half the width of the contact (a wedge
or cone of slope w/b presses with E* w/2b, a cylinder along its side with pi E* w/4b, w what its
outline overlaps by; Johnson 1985, 5.2 and 4.2).

P [N], w, R [m], E*, Y [Pa]; nu Poisson's ratio of the softer body. Assumes: no rate dependence (the
callers widen H for it), no fracture, quasistatic. Valid for contact radii up to about 0.4 R.
Sources: Jackson and Green, J. Tribol. 127 (2005) 343; Tabor, The Hardness of Metals (1951);
Johnson, Contact Mechanics (1985), 6.3 and 11.5 (all from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, inf, isfinite, nan, pi, sqrt
from typing import Final

import numpy as np

from snapsim.arrays import Array

TABOR: Final = 2.84
"""Hardness over yield stress of a fully plastic contact."""

ELASTIC_UP_TO: Final = 1.9
"""Indentation over w_c up to which the law is Hertz'."""

SHALLOW: Final = 0.4
"""Contact radius over R up to which the law was fitted."""

GRID: Final = np.geomspace(1e-12, 1.0, 200)
"""Indentations [m] at which force and work are computed; between them powers."""


@dataclass(frozen=True)
class Wedge:
    """What sinks in beside a rounding: the contact area at the indentation w is the sum of
    factor * w^power over its `terms`; its length is `length` = (factor, power) in the same way,
    none where it is about as long as wide."""

    terms: tuple[tuple[float, float], ...] = ()
    length: tuple[float, float] | None = None

    def area(self, depth: Array) -> Array:
        """Return the area (k,) [m^2] at depths (k,) [m]."""
        return np.asarray(sum((f * depth**n for f, n in self.terms), np.zeros_like(depth)))

    def pressure(self, depth: Array, modulus: float, hardness: float) -> Array:
        """Return the most that presses it (k,) [Pa] at depths (k,) [m]: E* w/b, at most H."""
        area = np.maximum(self.area(depth), 1e-300)
        if self.length is None:
            half = np.sqrt(area / pi)
        else:
            half = area / (2.0 * self.length[0] * depth ** self.length[1])
        return np.asarray(np.minimum(hardness, modulus * depth / half))


NO_WEDGE: Final = Wedge()


@dataclass(frozen=True)
class PlasticBlow:
    """A blow: peak `force` [N], `indentation` [m], mean `pressure` [Pa], coefficient of
    `restitution`, and whether the dent is `within` what the law was fitted to."""

    force: float
    indentation: float
    pressure: float
    restitution: float
    within: bool


NO_BLOW: Final = PlasticBlow(nan, nan, nan, nan, False)


def sphere_force(depth: Array, radius: float, modulus: float, strength: float, nu: float) -> Array:
    """Return the force (k,) [N] of a sphere pressed in by `depth` (k,) [m]; Y = `strength`."""
    c = 1.295 * exp(0.736 * nu)
    critical = (pi * c * strength / (2.0 * modulus)) ** 2 * radius
    scale = 4.0 / 3.0 * (radius / modulus) ** 2 * (0.5 * pi * c * strength) ** 3
    x = np.asarray(depth) / critical
    plastic = np.maximum(x, ELASTIC_UP_TO)
    b = spreading(strength, modulus)
    slope = 0.5 * pi * c * strength / modulus * np.sqrt(plastic)
    slope *= (plastic / ELASTIC_UP_TO) ** (0.5 * b)
    mean = TABOR * (1.0 - np.exp(-0.82 * slope**-0.7))
    beyond = np.exp(-0.25 * plastic ** (5.0 / 12.0)) * plastic**1.5
    beyond += 4.0 * mean / c * (1.0 - np.exp(-(plastic ** (5.0 / 9.0)) / 25.0)) * plastic
    elastic = x**1.5
    # the fit steps by 2 % where the two meet; never above Hertz
    return np.asarray(scale * np.where(x <= ELASTIC_UP_TO, elastic, np.minimum(beyond, elastic)))


def spreading(strength: float, modulus: float) -> float:
    """Return B, with which the contact area outgrows Hertz' pi R w beyond first yield: that times
    (x/1.9)^B. Held at 2, where Y/E* = 0.12: no metal comes near."""
    return min(0.14 * exp(min(23.0 * strength / modulus, 5.0)), 2.0)


def contact_area(depth: float, radius: float, modulus: float, strength: float, nu: float) -> float:
    """Return the area [m^2] of a sphere pressed in by `depth` [m]."""
    c = 1.295 * exp(0.736 * nu)
    x = depth / ((pi * c * strength / (2.0 * modulus)) ** 2 * radius)
    spread: float = max(x / ELASTIC_UP_TO, 1.0) ** spreading(strength, modulus)
    return pi * radius * depth * spread


def plastic_blow(
    mass: float,
    speed: float,
    radius: float,
    modulus: float,
    strength: float,
    nu: float,
    wedge: Wedge = NO_WEDGE,
) -> PlasticBlow:
    """Return the blow of effective `mass` [kg] at closing `speed` [m/s]; nan for what is unknown.

    `radius` R [m], `modulus` E* [Pa], `strength` Y [Pa], `nu` Poisson's ratio of the softer body.
    """
    if not all(isfinite(x) for x in (mass, speed, radius, modulus, strength)):
        return NO_BLOW
    if speed <= 0.0:
        return PlasticBlow(0.0, 0.0, 0.0, 1.0, True)
    depth, force, work = _curve(radius, modulus, strength, nu, wedge)
    energy = 0.5 * mass * speed**2
    at = float(np.exp(np.interp(np.log(energy), np.log(work), np.log(depth))))
    peak = float(np.exp(np.interp(np.log(energy), np.log(work), np.log(force))))
    area = contact_area(at, radius, modulus, strength, nu) + float(wedge.area(np.array(at)))
    back = min(1.0, _rebound_energy(peak, radius, modulus, strength, nu) / energy)
    within = sqrt(at / radius) < SHALLOW and not wedge.terms
    return PlasticBlow(peak, at, peak / area, sqrt(back), within)


@lru_cache(maxsize=256)
def _curve(
    radius: float, modulus: float, strength: float, nu: float, wedge: Wedge
) -> tuple[Array, Array, Array]:
    """Depths, force and work (k,) of pressing in."""
    round_force = sphere_force(GRID, radius, modulus, strength, nu)
    area = wedge.area(GRID)
    pressure = wedge.pressure(GRID, modulus, TABOR * strength)
    pressed = pressure * area
    mean = np.sqrt(np.maximum(area, 1e-300) / pi)
    yields = pressure >= TABOR * strength  # below, w is the elastic depth itself
    stored = np.where((area > 0.0) & yields, 0.5 * pressed**2 / (4.0 * modulus * mean), 0.0)
    force = round_force + pressed
    steps = 0.5 * (force[1:] + force[:-1]) * np.diff(GRID)
    work = np.concatenate([[0.4 * force[0] * GRID[0]], 0.4 * force[0] * GRID[0] + np.cumsum(steps)])
    return GRID, force, work + stored


def _rebound_energy(
    force: float, radius: float, modulus: float, strength: float, nu: float
) -> float:
    """Hertz' energy of `force` on the sphere flattened by its dent (Johnson 1985, 11.5).

    The flattened radius R' has the contact radius a of the loaded dent: a^3 = 3 F R'/(4 E*), with a
    from F = pi a^2 p and p the mean pressure, at most `TABOR` Y.
    """
    elastic_radius = (0.75 * force * radius / modulus) ** (1.0 / 3.0)
    radius_of_dent = max(elastic_radius, sqrt(force / (pi * TABOR * strength)))
    return float(0.3 * force**2 / (modulus * radius_of_dent))


def speed_of_first_yield(density: float, modulus: float, strength: float) -> float:
    """Return the speed [m/s] at which a sphere of `density` on a flat first yields.

    V_Y^2 = 26 (Y/E*)^4 Y/rho (Johnson 1985, eq. 11.28, from memory).
    """
    return sqrt(26.0 * (strength / modulus) ** 4 * strength / density) if density > 0 else inf
