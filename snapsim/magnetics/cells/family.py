"""The layouts of all shapes but compounds, which are made of these."""

from __future__ import annotations

from typing import Final

from snapsim.magnetics.cells import box, cylinder, hex_nut, mesh, prism, ring, sphere
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.magnetics.cells.reflection import reflected
from snapsim.parts.shapes import Mesh, Shape, as_drawn

LAYOUTS: Final[dict[str, CellLayout]] = {
    "box": box.LAYOUT,
    "cylinder": cylinder.LAYOUT,
    "hex_nut": hex_nut.LAYOUT,
    "mesh": mesh.LAYOUT,
    "prism": prism.LAYOUT,
    "ring": ring.LAYOUT,
    "sphere": sphere.LAYOUT,
}


FACETS: Final = 24
"""Flat faces round a full circle of a shape without a layout of its own."""


def simplest(shape: Shape) -> Shape:
    """Return the shape that has the cells: a box for a prism that is one, else itself.

    One without a layout is meshed as it is drawn, as a triangulated solid of its volume.
    """
    shape = shape.simplest
    return shape if shape.members or shape.kind in LAYOUTS else Mesh(*as_drawn(shape, FACETS))


def layout_of(shape: Shape, layouts: dict[str, CellLayout] = LAYOUTS) -> CellLayout:
    """Return the layout of a `simplest` shape."""
    return layouts[shape.kind]


def built(layout: CellLayout, shape: Shape, divisions: Divisions) -> CellMesh:
    """Return the whole mesh of `divisions`."""
    return reflected(*layout.octant(shape, divisions), layout.mirrors)
