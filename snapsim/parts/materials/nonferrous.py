"""Aluminium and copper: not magnetic, but good conductors."""

from __future__ import annotations

from snapsim.parts.materials.record import Material

_HANDBOOK = "handbook value, from memory"

MATERIALS = (
    Material(
        name="aluminium",
        family="non-ferrous metal",
        density=2700.0,
        youngs_modulus=70e9,
        poissons_ratio=0.33,
        strength=250e6,
        conductivity=2.6e7,
        source={
            "density": _HANDBOOK,
            "youngs_modulus": _HANDBOOK,
            "poissons_ratio": _HANDBOOK,
            "strength": f"yield of 6082-T6; {_HANDBOOK}",
            "conductivity": f"6082-T6; pure aluminium 3.77e7 S/m; {_HANDBOOK}",
        },
    ),
    Material(
        name="copper",
        family="non-ferrous metal",
        density=8960.0,
        youngs_modulus=120e9,
        poissons_ratio=0.34,
        strength=200e6,
        conductivity=5.8e7,
        source={
            "density": _HANDBOOK,
            "youngs_modulus": f"110 to 130 GPa; {_HANDBOOK}",
            "poissons_ratio": _HANDBOOK,
            "strength": f"yield, half hard; {_HANDBOOK}",
            "conductivity": "International Annealed Copper Standard, IEC 60028 (1925), from memory",
        },
    ),
)
