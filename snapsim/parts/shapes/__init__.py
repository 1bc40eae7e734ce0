"""The shapes a body can have: one contract, one file per member."""

from snapsim.parts.shapes.box import Box
from snapsim.parts.shapes.compound import Compound
from snapsim.parts.shapes.contract import Outline, Revolution, Shape, fills_its_box
from snapsim.parts.shapes.cylinder import Cylinder
from snapsim.parts.shapes.frame import OpenFrame
from snapsim.parts.shapes.hex_nut import HexNut
from snapsim.parts.shapes.mesh import Mesh
from snapsim.parts.shapes.pieces import ConvexPolyhedron, Piece, as_drawn, pieces_of
from snapsim.parts.shapes.prism import Prism
from snapsim.parts.shapes.ring import Ring
from snapsim.parts.shapes.sphere import Sphere

SHAPES: dict[str, type[Shape]] = {
    s.kind: s for s in (Box, Cylinder, Ring, OpenFrame, Sphere, HexNut, Prism, Mesh, Compound)
}

__all__ = [
    "SHAPES",
    "Box",
    "Compound",
    "ConvexPolyhedron",
    "Cylinder",
    "HexNut",
    "Mesh",
    "OpenFrame",
    "Outline",
    "Piece",
    "Prism",
    "Revolution",
    "Ring",
    "Shape",
    "Sphere",
    "as_drawn",
    "fills_its_box",
    "pieces_of",
]
