"""What tables, guards and floors are made of: nothing here is magnetic."""

from __future__ import annotations

from snapsim.parts.materials.record import Material

_WOOD = "Wood Handbook (USDA Forest Products Laboratory), from memory"
_HANDBOOK = "handbook value, from memory"

MATERIALS = (
    Material(
        name="oak",
        family="wood",
        density=700.0,
        youngs_modulus=2.0e9,
        poissons_ratio=0.37,
        strength=7.4e6,
        conductivity=0.0,
        source={
            "density": f"650 to 750 kg/m^3, dry; {_HANDBOOK}",
            "youngs_modulus": f"white oak across the grain (radial), as a top is struck; 12 GPa"
            f" along the grain; {_WOOD}",
            "poissons_ratio": f"white oak; {_WOOD}",
            "strength": f"white oak, compression across the grain; {_WOOD}",
            "conductivity": "insulator when dry, taken as 0",
        },
    ),
    Material(
        name="birch plywood",
        family="wood",
        density=680.0,
        youngs_modulus=1.1e9,
        poissons_ratio=0.35,
        strength=6.7e6,
        conductivity=0.0,
        source={
            "density": f"680 kg/m^3; {_HANDBOOK}",
            "youngs_modulus": "through the thickness, taken as yellow birch across the grain"
            f" (radial); in the plane 9 to 12 GPa; {_WOOD}, low confidence",
            "poissons_ratio": f"{_HANDBOOK}, low confidence",
            "strength": f"yellow birch, compression across the grain; {_WOOD}, low confidence",
            "conductivity": "insulator when dry, taken as 0",
        },
    ),
    Material(
        name="acrylic",
        family="plastic",
        density=1190.0,
        youngs_modulus=3.2e9,
        poissons_ratio=0.37,
        strength=70e6,
        conductivity=0.0,
        source={
            "density": f"PMMA; {_HANDBOOK}",
            "youngs_modulus": f"PMMA, 3.0 to 3.3 GPa; {_HANDBOOK}",
            "poissons_ratio": f"PMMA; {_HANDBOOK}",
            "strength": f"PMMA, tensile, 60 to 75 MPa, brittle; {_HANDBOOK}",
            "conductivity": "insulator, taken as 0",
        },
    ),
    Material(
        name="concrete",
        family="concrete",
        density=2400.0,
        youngs_modulus=31e9,
        poissons_ratio=0.2,
        strength=25e6,
        source={
            "density": "C25/30, EN 1992-1-1 (2004), from memory",
            "youngs_modulus": "C25/30, EN 1992-1-1 (2004), table 3.1, from memory",
            "poissons_ratio": "uncracked, EN 1992-1-1 (2004), 3.1.3, from memory",
            "strength": "compression, cylinder, C25/30, EN 1992-1-1 (2004), from memory",
        },
    ),
)
