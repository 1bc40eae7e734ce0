"""Grey and ductile cast iron.

Grey iron: the knee is the tabulated polarisation J(H) of the record named below, up to 20 kA/m.
That record's own extrapolation ends at 1.28 T, but the measured intrinsic induction at 10 kOe
(796 kA/m) is 1.60 T, and near a strong magnet it is the saturation that sets the force. So the
table is carried on by the 1/H term of the law of approach to saturation,

    J(H) = J_0 - k / (H + h),    J_0 = 1.62037 T, k = 16566.1 T A/m, h = 17155.2 A/m,

the one such curve that continues value and slope (1.2e-5 T m/A) of the table at 20 kA/m and passes
1.60 T at 796 kA/m; from there J stays at 1.60 T.
"""

from __future__ import annotations

import numpy as np

from snapsim.constants import MU_0
from snapsim.parts.materials.record import MagnetisationCurve, Material

_DUCTILE_DATA = "published ductile-iron design data, table of magnetic properties (looked up)"

GREY_KNEE = (
    (200, 0.03975),
    (400, 0.08648),
    (700, 0.18946),
    (800, 0.23053),
    (1000, 0.31286),
    (1250, 0.40582),
    (1400, 0.45346),
    (1550, 0.49471),
    (1750, 0.54053),
    (2000, 0.58552),
    (3000, 0.68911),
    (4000, 0.74949),
    (5000, 0.79929),
    (6000, 0.84394),
    (7000, 0.88449),
    (8500, 0.93858),
    (10000, 0.98555),
    (12000, 1.0387),
    (14000, 1.08274),
    (16500, 1.12733),
    (20000, 1.17451),
)
"""Field strength H [A/m] and polarisation J [T] of the published knee."""

GREY_SATURATION = 1.60
"""Polarisation [T] at 796 kA/m and beyond."""


def _approach(field_strength: float) -> float:
    """Polarisation [T] above 20 kA/m, as the module text says."""
    return 1.6203726479911689 - 16566.125072808074 / (field_strength + 17155.220665930734)


def _grey_curve() -> MagnetisationCurve:
    beyond = [(h, _approach(h)) for h in (25e3, 30e3, 40e3, 60e3, 100e3, 160e3, 250e3, 400e3)]
    points = np.array([(0.0, 0.0), *GREY_KNEE, *beyond, (796e3, GREY_SATURATION)])
    field_strength, polarisation = points.T
    return MagnetisationCurve(
        field_strength=field_strength.copy(), flux_density=MU_0 * field_strength + polarisation
    )


MATERIALS = (
    Material(
        name="grey cast iron",
        family="cast iron",
        density=7200.0,
        curve=_grey_curve(),
        youngs_modulus=110e9,
        poissons_ratio=0.26,
        strength=250e6,
        conductivity=1.0e6,
        source={
            "curve": "up to 20 kA/m: Modelica Standard Library, cast-iron record of the"
            " magnetic flux-tube materials (looked up; the record calls itself artificial but"
            " realistic, for teaching); saturation: intrinsic induction 16 000 G at 10 kOe of"
            " grey iron, " + _DUCTILE_DATA + "; between them the 1/H law of approach, joined in"
            " value and slope; castings scatter widely",
            "density": "6900 to 7600 kg/m^3, 7200 usual; handbook value, from memory",
            "youngs_modulus": "100 to 130 GPa (EN-GJL-250 class); handbook value, from memory",
            "poissons_ratio": "0.26 (EN 1561, EN-GJL-250), from memory",
            "strength": "tensile, EN-GJL-250 (EN 1561), from memory; in compression 840 MPa",
            "conductivity": "resistivity 0.8 to 1.1e-6 ohm m; handbook value, from memory",
        },
    ),
    Material(
        name="ductile iron",
        family="cast iron",
        density=7100.0,
        curve=MagnetisationCurve(susceptibility=2100.0, saturation=1.80),
        youngs_modulus=169e9,
        poissons_ratio=0.275,
        strength=280e6,
        conductivity=1.8e6,
        source={
            "susceptibility": "largest permeability 2100 of ferritic grades: "
            + _DUCTILE_DATA
            + "; used as initial susceptibility, since the curve used has no toe",
            "saturation": "intrinsic induction 18 000 G at 10 kOe of ferritic grades: "
            + _DUCTILE_DATA,
            "density": "6900 to 7200 kg/m^3; handbook value, from memory",
            "youngs_modulus": "162 to 177 GPa; handbook value, from memory",
            "poissons_ratio": "0.275 (EN 1563), from memory",
            "strength": "0.2 % proof stress of a ferritic grade, 60-40-18, from memory",
            "conductivity": "resistivity 0.5 to 0.6e-6 ohm m; handbook value, from memory",
        },
    ),
)
