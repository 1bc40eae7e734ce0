"""The layouts of all shapes but compounds, which are made of these."""

from __future__ import annotations

from typing import Final

from snapsim.errors import InputError
from snapsim.magnetics.cells import box, cylinder, hex_nut, mesh, prism, ring, sphere
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.layout import Divisions, Layout
from snapsim.magnetics.cells.reflection import reflected
from snapsim.parts.shapes import Prism, Shape

LAYOUTS: Final[dict[str, Layout]] = {
    "box": box.LAYOUT,
    "cylinder": cylinder.LAYOUT,
    "hex_nut": hex_nut.LAYOUT,
    "mesh": mesh.LAYOUT,
    "prism": prism.LAYOUT,
    "ring": ring.LAYOUT,
    "sphere": sphere.LAYOUT,
}


def simplest(shape: Shape) -> Shape:
    """Return the box that a prism is, if its outline is a rectangle along the axes; else itself."""
    return (shape.as_box or shape) if isinstance(shape, Prism) else shape


def layout_of(shape: Shape, layouts: dict[str, Layout] = LAYOUTS) -> Layout:
    """Return the layout of a shape; raises InputError for one without cells."""
    if shape.kind not in layouts:
        raise InputError(
            f"no cells for a {shape.kind!r} of a soft material; allowed are {', '.join(layouts)}",
            key="shape.kind",
        )
    return layouts[shape.kind]


def built(layout: Layout, shape: Shape, divisions: Divisions) -> CellMesh:
    """Return the whole mesh of `divisions`."""
    return reflected(*layout.octant(shape, divisions), layout.mirrors)
