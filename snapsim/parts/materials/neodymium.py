"""Sintered neodymium-iron-boron, grades N35 to N52 (trade designations, at 20 C).

The number of a grade is its energy product in MGOe; the remanence given here is the middle of the
usual catalogue band, so a magnet at hand differs by some 2 %. `coercivity` is the smallest
intrinsic coercivity H_cJ of the grade without a temperature suffix.
"""

from __future__ import annotations

from snapsim.parts.materials.record import Material

_BANDS = {
    "N35": (1.17, 1.22, 955e3),
    "N38": (1.22, 1.25, 955e3),
    "N40": (1.25, 1.28, 955e3),
    "N42": (1.28, 1.32, 955e3),
    "N45": (1.32, 1.38, 955e3),
    "N48": (1.37, 1.42, 955e3),
    "N50": (1.40, 1.45, 876e3),
    "N52": (1.43, 1.48, 876e3),
}
"""Smallest and largest remanence [T] and smallest intrinsic coercivity [A/m], by grade."""


def _sources(low: float, high: float) -> dict[str, str]:
    band = "typical catalogue band of the trade designation, common practice, from memory"
    return {
        "remanence": f"middle of {low:g} to {high:g} T: {band}",
        "coercivity": f"smallest intrinsic coercivity H_cJ at 20 C: {band}",
        "recoil_permeability": f"1.05: {band}",
        "density": f"7400 to 7700 kg/m^3, 7500 usual: {band}",
        "youngs_modulus": "150 to 160 GPa in makers' tables, upper value taken; from memory",
        "poissons_ratio": "0.24 in makers' tables; from memory",
        "strength": "flexural strength, lower end of 250 to 400 MPa in makers' tables, from memory;"
        " it depends on direction (Li et al., IEEE Trans. Magn. 41 (2005)); in compression about"
        " 1000 MPa",
        "tensile_strength": "75 to 80 MPa in makers' tables, lower value; from memory",
        "conductivity": "resistivity 1.5e-6 ohm m: typical catalogue value, from memory",
    }


MATERIALS = tuple(
    Material(
        name=f"NdFeB {grade}",
        family="sintered NdFeB magnet",
        density=7500.0,
        remanence=round((low + high) / 2, 4),
        coercivity=coercivity,
        recoil_permeability=1.05,
        youngs_modulus=160e9,
        poissons_ratio=0.24,
        strength=250e6,
        tensile_strength=75e6,
        conductivity=6.7e5,
        source=_sources(low, high),
    )
    for grade, (low, high, coercivity) in _BANDS.items()
)
