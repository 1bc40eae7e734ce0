"""The built-in materials, all families together, by name."""

from __future__ import annotations

from snapsim.parts.materials import (
    building,
    cast_iron,
    ferrite,
    neodymium,
    nonferrous,
    steel,
)
from snapsim.parts.materials.record import Material

_FAMILIES = (neodymium, ferrite, cast_iron, steel, nonferrous, building)

MATERIALS: dict[str, Material] = {m.name: m for f in _FAMILIES for m in f.MATERIALS}
"""Every built-in material by name, in the order a reader looks for it."""
