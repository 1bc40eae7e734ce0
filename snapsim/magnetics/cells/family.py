"""The layouts of all shapes but compounds, which are made of these."""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.errors import InputError
from snapsim.magnetics.cells import box, cylinder, hex_nut, mesh, prism, ring, sphere
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.layout import Divisions, Layout
from snapsim.magnetics.cells.reflection import reflected
from snapsim.parts.shapes import Box, Prism, Shape

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
    if isinstance(shape, Prism) and len(shape.polygon) == 4:
        half = np.abs(shape.polygon)
        if np.allclose(half, half[0], rtol=1e-12, atol=0):
            return Box((2 * float(half[0, 0]), 2 * float(half[0, 1]), shape.length))
    return shape


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
