"""Factors of the units that scenes mostly use, so that reading one need not load a registry.

pint and its definitions take half a second to load. Each number is the one that pint gives, to the
last bit (tested): a scene's SI numbers do not depend on which of the two was asked. Any other unit
is left to pint.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

_DEGREE: Final = 0.017453292519943295

USUAL: Final[Mapping[str, Mapping[str, float]]] = {
    "m": {"mm": 1e-3, "cm": 1e-2, "dm": 0.1, "um": 1e-6, "µm": 1e-6, "km": 1e3, "inch": 0.0254},
    "rad": {"deg": _DEGREE, "degree": _DEGREE, "degrees": _DEGREE, "°": _DEGREE, "mrad": 1e-3},
    "s": {"ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60.0},
    "m/s": {"mm/s": 1e-3, "cm/s": 1e-2, "km/h": 0.2777777777777778},
    "rad/s": {"deg/s": _DEGREE, "rpm": 0.10471975511965977},
    "m/s^2": {"mm/s^2": 1e-3, "m/s**2": 1.0, "m/s²": 1.0},
    "kg/m^3": {"kg/m**3": 1.0, "kg/m³": 1.0, "g/cm^3": 999.9999999999999},
    "Pa": {"kPa": 1e3, "MPa": 1e6, "GPa": 1e9, "N/mm^2": 1e6, "N/m^2": 1.0},
    "N": {"mN": 1e-3, "kN": 1e3},
    "J": {"mJ": 1e-3, "kJ": 1e3, "N*m": 1.0},
    "N*m": {"N m": 1.0, "N*mm": 1e-3, "N*cm": 1e-2, "mN*m": 1e-3},
    "N/m": {"kN/m": 1e3, "N/mm": 1e3, "N/cm": 100.0},
    "T": {"mT": 1e-3, "uT": 1e-6, "µT": 1e-6},
    "A/m": {"kA/m": 1e3, "MA/m": 1e6, "A/cm": 100.0},
    "S/m": {"MS/m": 1e6, "kS/m": 1e3},
}
"""Factor from a unit to the SI unit that a kind of quantity is kept in."""
