"""Hard ferrite (sintered strontium or barium ferrite, anisotropic), trade grade Y30, at 20 C."""

from __future__ import annotations

from snapsim.parts.materials.record import Material

_BAND = "typical catalogue band of the trade designation Y30, common practice, from memory"

MATERIALS = (
    Material(
        name="hard ferrite",
        family="hard ferrite magnet",
        density=4850.0,
        remanence=0.385,
        coercivity=200e3,
        recoil_permeability=1.07,
        youngs_modulus=170e9,
        poissons_ratio=0.28,
        strength=60e6,
        conductivity=1e-4,
        source={
            "remanence": f"middle of 0.37 to 0.40 T: {_BAND}",
            "coercivity": f"intrinsic coercivity H_cJ, middle of 180 to 220 kA/m: {_BAND}",
            "recoil_permeability": "1.05 to 1.1, from memory",
            "density": "4800 to 4900 kg/m^3, from memory",
            "youngs_modulus": "150 to 180 GPa, from memory, low confidence",
            "poissons_ratio": "0.28, from memory, low confidence",
            "strength": "flexural strength, 50 to 90 MPa, from memory, low confidence",
            "conductivity": "resistivity above 1e4 ohm m, practically an insulator; from memory",
        },
    ),
)
