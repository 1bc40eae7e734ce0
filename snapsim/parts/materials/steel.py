"""Low-carbon steel, 430 ferritic stainless and hardened bearing steel.

Low-carbon steel: the measured table of a benchmark of three-dimensional force computation. The
definition continues with a polarisation of 2.16 T above 2.3 T, which would step at the last
point; one more point (250 kA/m, 2.16 T) is added instead, so that the curve gets there smoothly.

430 stainless: B(H) from the published fit mu_r = 1 + (mu_i - 1 + c_a b)/(1 + c_b b + b^n),
b = B/B_max, mu_i = 274, B_max = 1.1 T, c_a = 970, c_b = 1.2, n = 8.3, which holds to about 1.6 T,
then carried to a saturation polarisation of 1.65 T at 100 kA/m.
"""

from __future__ import annotations

import numpy as np

from snapsim.constants import MU_0
from snapsim.parts.materials.record import MagnetisationCurve, Material

MILD_STEEL = (
    (0, 0),
    (27, 0.01),
    (58, 0.025),
    (100, 0.05),
    (153, 0.1),
    (185, 0.15),
    (205, 0.2),
    (233, 0.3),
    (255, 0.4),
    (285, 0.5),
    (320, 0.6),
    (355, 0.7),
    (405, 0.8),
    (470, 0.9),
    (555, 1.0),
    (673, 1.1),
    (836, 1.2),
    (1065, 1.3),
    (1220, 1.35),
    (1420, 1.4),
    (1720, 1.45),
    (2130, 1.5),
    (2670, 1.55),
    (3480, 1.6),
    (4500, 1.65),
    (5950, 1.7),
    (7650, 1.75),
    (10100, 1.8),
    (13000, 1.85),
    (15900, 1.9),
    (21100, 1.95),
    (26300, 2.0),
    (32900, 2.05),
    (42700, 2.1),
    (61700, 2.15),
    (84300, 2.2),
    (110000, 2.25),
    (135000, 2.3),
)
"""Field strength [A/m] and flux density [T] as measured."""

STAINLESS_430 = (
    (0, 0),
    (131.9, 0.05),
    (243.6, 0.1),
    (430.3, 0.2),
    (588.0, 0.3),
    (729.1, 0.4),
    (860.3, 0.5),
    (986.8, 0.6),
    (1116.0, 0.7),
    (1262.2, 0.8),
    (1454.7, 0.9),
    (1749.4, 1.0),
    (2247.7, 1.1),
    (3123.2, 1.2),
    (4657.6, 1.3),
    (7289.2, 1.4),
    (11672.5, 1.5),
    (18748.0, 1.6),
)
"""Field strength [A/m] and flux density [T] of the fit."""


def _curve(
    points: tuple[tuple[float, float], ...], end: float, saturation: float
) -> MagnetisationCurve:
    """The table with one point more, of polarisation `saturation` [T] at `end` [A/m]."""
    table = np.array([*points, (end, saturation + MU_0 * end)], dtype=np.float64)
    return MagnetisationCurve(field_strength=table[:, 0].copy(), flux_density=table[:, 1].copy())


_HANDBOOK = "handbook value, from memory"

MATERIALS = (
    Material(
        name="low-carbon steel",
        family="steel",
        density=7850.0,
        curve=_curve(MILD_STEEL, 250e3, 2.16),
        youngs_modulus=207e9,
        poissons_ratio=0.29,
        strength=250e6,
        conductivity=7.0e6,
        source={
            "curve": "steel of TEAM Workshop problem 20 (measured; looked up): Takahashi, Nakata &"
            " Morishige, COMPEL 14, 57 (1995); saturation polarisation 2.16 T from the same"
            " definition",
            "density": f"7830 to 7860 kg/m^3; {_HANDBOOK}",
            "youngs_modulus": f"205 to 210 GPa; {_HANDBOOK}",
            "poissons_ratio": f"0.29 to 0.30; {_HANDBOOK}",
            "strength": f"yield, 250 to 400 MPa, lower end; {_HANDBOOK}",
            "conductivity": f"resistivity 0.13 to 0.16e-6 ohm m; {_HANDBOOK}",
        },
    ),
    Material(
        name="430 stainless",
        family="steel",
        density=7700.0,
        curve=_curve(STAINLESS_430, 100e3, 1.65),
        youngs_modulus=220e9,
        poissons_ratio=0.30,
        strength=260e6,
        conductivity=1.67e6,
        source={
            "curve": "up to 1.6 T: fit of the Modelica Standard Library, flux-tube material record"
            " X6Cr17 (looked up), fit function of Roschke 2000; saturation 1.6 to 1.7 T from"
            " memory; bars as received are magnetically harder (Oxley et al., J. Magn. Magn."
            " Mater. 321, 2107 (2009))",
            "density": "EN 10088-1, steel 1.4016, from memory",
            "youngs_modulus": "EN 10088-1, steel 1.4016, from memory",
            "poissons_ratio": _HANDBOOK,
            "strength": "0.2 % proof stress, EN 10088-2, steel 1.4016, from memory",
            "conductivity": "resistivity 0.60e-6 ohm m, EN 10088-1, steel 1.4016, from memory",
        },
    ),
    Material(
        name="bearing steel",
        family="steel",
        density=7810.0,
        curve=MagnetisationCurve(susceptibility=150.0, saturation=1.9),
        youngs_modulus=208e9,
        poissons_ratio=0.30,
        strength=1700e6,
        conductivity=4.5e6,
        source={
            "susceptibility": "hardened 1 % carbon chromium steel (100Cr6), permeability of the"
            " order 100 to 300; from memory, low confidence",
            "saturation": "1.8 to 2.0 T, lowered by carbides and retained austenite; from memory,"
            " low confidence",
            "density": f"7810 kg/m^3; {_HANDBOOK}",
            "youngs_modulus": f"208 GPa; {_HANDBOOK}",
            "poissons_ratio": f"0.30; {_HANDBOOK}",
            "strength": f"yield of the hardened steel, about 60 HRC; {_HANDBOOK}, low confidence",
            "conductivity": f"resistivity 0.22e-6 ohm m; {_HANDBOOK}",
        },
    ),
)
