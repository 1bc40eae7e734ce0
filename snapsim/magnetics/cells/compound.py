"""Cells of a compound: those of its members, each in its place.

Blocks along its axes share one grid (`joined_blocks`). Other members are meshed on their own; where
two meet face to face with unlike cells, the faces overlap without matching, and the charges on them
cancel all the same. Cells that do match share their faces. No mirror planes.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells import family, joined_blocks
from snapsim.magnetics.cells.hexahedron import volume_and_centre
from snapsim.magnetics.cells.layout import CellLayout, Divisions
from snapsim.parts.shapes import Compound, Shape

SAME: Final = 1e-9
"""Corners nearer than this share of the size are one."""


def divisions(shape: Compound, base_cells: float) -> Divisions:
    """Return the members' divisions one after another, each after how many numbers it has; or 0
    and the divisions of the grid of `joined_blocks`."""
    together = joined_blocks.divisions(shape, base_cells)
    if together:
        return 0, *together
    cut: list[int] = []
    for member in shape.members:
        solid = family.simplest(member.shape)
        layout = family.layout_of(solid)
        wanted = base_cells * solid.volume / shape.volume / 2 ** len(layout.mirrors)
        own = layout.divisions(solid, wanted)
        cut += [len(own), *own]
    return tuple(cut)


def halved(shape: Compound, cut: Divisions) -> Divisions:
    """Every member's cells half as long."""
    if cut[0] == 0:
        return tuple(2 * n for n in cut)
    out: list[int] = []
    for member in shape.members:
        own = cut[len(out) + 1 : len(out) + 1 + cut[len(out)]]
        solid = family.simplest(member.shape)
        out += [len(own), *family.layout_of(solid).halved(solid, own)]
    return tuple(out)


def octant(shape: Compound, cut: Divisions) -> tuple[Array, IntArray]:
    """Return corners [m] and cells of the whole compound."""
    if cut[0] == 0:
        return joined_blocks.cells(shape, cut[1:])
    corners, cells, count, at = [], [], 0, 0
    for member in shape.members:
        own = cut[at + 1 : at + 1 + cut[at]]
        at += 1 + cut[at]
        places, numbers = _whole(member.shape, own)
        corners.append(places @ member.turn.T + member.position)
        cells.append(numbers + count)
        count += len(places)
    return _joined(np.concatenate(corners), np.concatenate(cells))


def _whole(shape: Shape, cut: Divisions) -> tuple[Array, IntArray]:
    """Corners [m] and cells of one member in its own axes, of its own volume as drawn."""
    solid = family.simplest(shape)
    mesh = family.built(family.layout_of(solid), solid, cut)
    drawn = volume_and_centre(mesh.corners, mesh.cells)[0].sum()
    return mesh.corners * np.cbrt(shape.volume / drawn), mesh.cells


def _joined(corners: Array, cells: IntArray) -> tuple[Array, IntArray]:
    """Give corners at one place one number."""
    step = SAME * float(np.ptp(corners, axis=0).max())
    _, first, number = np.unique(
        np.round(corners / step), axis=0, return_index=True, return_inverse=True
    )
    return corners[first], number.reshape(-1)[cells]


LAYOUT = CellLayout(divisions, octant, mirrors=(), halved=halved, share=0.5)
