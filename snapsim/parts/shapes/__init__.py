"""The shapes a body can have: one contract, one file per member."""

from snapsim.parts.shapes.box import Box
from snapsim.parts.shapes.contract import Outline, Shape
from snapsim.parts.shapes.cylinder import Cylinder
from snapsim.parts.shapes.hex_nut import HexNut
from snapsim.parts.shapes.ring import Ring
from snapsim.parts.shapes.sphere import Sphere

SHAPES: dict[str, type[Shape]] = {s.kind: s for s in (Box, Cylinder, Ring, Sphere, HexNut)}

__all__ = ["SHAPES", "Box", "Cylinder", "HexNut", "Outline", "Ring", "Shape", "Sphere"]
