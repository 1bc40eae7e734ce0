"""Cells that follow the surface of each shape: one contract, one file each."""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.magnetics.cells import compound, family, joined_blocks
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.parts.shapes import Compound, Shape

LAYOUTS: Final[dict[str, CellLayout]] = {**family.LAYOUTS, "compound": compound.LAYOUT}

DETAIL: Final = {"draft": 200, "normal": 1000, "fine": 3000}
"""Cells a part. Mean magnetisation of infinitely permeable bodies in a uniform field, cube, prisms
and cylinders from 1:5 to 5:1: too low by 1 to 3.5 % at draft, 0.3 to 1.4 % at normal, 0.2 to 0.7 %
at fine; over a `refinement_pair` within 0.4 % at normal and 0.1 % at fine. Equal cells err by
nearly twice as much. A ball in a uniform field is within 0.02 % throughout. Shapes with fewer than
three mirror planes get a share (`CellLayout.share`), since their operator does not fall into eight
blocks: prisms 0.8, meshes and compounds 0.5. Permeable tetrahedron and octahedron too low by 5.4
and 2.4 % on 128 and 256 cells, 1.5 and 1.1 % on 1 024 and 864, over pairs of these 0.02 %; a cube
drawn as a prism on edge by 1.2 % on 768, over a pair 0.1 %; filled with 352 tetrahedra by 1.3 %,
over a pair 0.3 %. All measured."""

EXTRAPOLATION_ORDER: Final = 2.0
"""Power of the cell size that the error of graded meshes falls with; measured 1.8 to 2.2."""


AS_MANY: Final = 0.95
"""Cells of the fine mesh of a pair over those of the plain mesh, at least."""


def mesh(shape: Shape, detail: str | int = "normal") -> CellMesh:
    """Return the cells of a shape, body axes [m].

    `detail` is a key of `DETAIL` (of which shapes without three mirror planes get their layout's
    `share`) or a number of cells, met as nearly as the layout allows. Raises InputError for an
    unknown detail, and for a shape that has no cells.
    """
    shape = family.simplest(shape)
    layout = family.layout_of(shape, LAYOUTS)
    cut = layout.divisions(shape, _base_cells(layout, detail))
    return family.built(layout, shape, cut)


def refinement_pair(shape: Shape, detail: str | int = "normal") -> tuple[CellMesh, CellMesh]:
    """Return a coarse and a fine mesh of one family, cells of the fine one half as long.

    The fine mesh has at least the cells of `mesh` at a key of `DETAIL` (to a few, `AS_MANY`), or
    about the number asked for; the coarse one about an eighth of them.
    """
    shape = family.simplest(shape)
    layout = family.layout_of(shape, LAYOUTS)
    coarse = _coarse_of_pair(shape, layout, detail)
    fine = layout.halved(shape, coarse)
    return family.built(layout, shape, coarse), family.built(layout, shape, fine)


def extrapolated(
    coarse: Array | float, fine: Array | float, order: float = EXTRAPOLATION_ORDER
) -> Array:
    """Return a quantity's limit of vanishing cell size from its values on a `refinement_pair`.

    Richardson's extrapolation (Richardson, Phil. Trans. A 210, 307 (1911); from memory), for an
    error that falls with that power of the cell size: `extrapolation_order` of the shape.
    """
    weight = 2.0**order
    limit: Array = (weight * np.asarray(fine) - np.asarray(coarse)) / (weight - 1)
    return limit


def extrapolation_order(shape: Shape, detail: str | int = "normal") -> float:
    """Return the power of the cell size with which the error of a `refinement_pair` falls."""
    shape = family.simplest(shape)
    layout = family.layout_of(shape, LAYOUTS)
    return layout.order(_coarse_of_pair(shape, layout, detail))


def cells_match(shape: Shape) -> bool:
    """Do cells match wherever a shape's members meet? A shape without members has no seams."""
    shape = family.simplest(shape)
    return not isinstance(shape, Compound) or bool(joined_blocks.divisions(shape, 1.0))


def nominal_size(cells: CellMesh) -> float:
    """Return the edge [m] of a cube of the mean cell volume."""
    return float(np.cbrt(cells.volume.mean()))


def _coarse_of_pair(shape: Shape, layout: CellLayout, detail: str | int) -> Divisions:
    """Divisions of the coarse mesh: asked for more until the fine one has cells enough."""
    wanted, share = _base_cells(layout, detail), 1 / 8
    coarse = layout.divisions(shape, share * wanted)
    if not isinstance(detail, str):
        return coarse
    enough = AS_MANY * layout.count(shape, layout.divisions(shape, wanted))
    while layout.count(shape, layout.halved(shape, coarse)) < enough and share < 1:
        share *= 1.1
        coarse = layout.divisions(shape, share * wanted)
    return coarse


def _base_cells(layout: CellLayout, detail: str | int) -> float:
    """Cells wanted of the part that is mirrored into the whole."""
    share = layout.share if isinstance(detail, str) else 1.0
    return share * _cells(detail) / float(2 ** len(layout.mirrors))


def _cells(detail: str | int) -> int:
    if isinstance(detail, str) and detail in DETAIL:
        return DETAIL[detail]
    if isinstance(detail, int) and not isinstance(detail, bool) and detail >= 1:
        return detail
    raise InputError(
        f"is {detail!r}; allowed are {', '.join(DETAIL)} or a number of cells", key="run.detail"
    )


__all__ = [
    "DETAIL",
    "EXTRAPOLATION_ORDER",
    "LAYOUTS",
    "CellMesh",
    "cells_match",
    "extrapolated",
    "extrapolation_order",
    "mesh",
    "nominal_size",
    "refinement_pair",
]
