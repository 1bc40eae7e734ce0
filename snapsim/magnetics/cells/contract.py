"""What a mesh of cells is: hexahedra (or wedges) that fill a shape and follow its surface.

The magnetisation is constant in a cell. A mesh that is its own mirror image in some of the body
planes x = 0, y = 0, z = 0 stores its images in a fixed order, so that every operator on it falls
into independent blocks, one a symmetry class.
"""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.arrays import Array, IntArray


@dataclass(frozen=True)
class CellMesh:
    """Cells of one body, body axes, metres.

    `corners` (p, 3); `cells` (c, 8) corner numbers in the usual hexahedron order (bottom loop
    0-3 counter-clockwise seen from outside the top, top loop 4-7 above it; a wedge repeats
    corners). `mirrors` names the planes the mesh is symmetric in, a subset of (0, 1, 2) for x, y,
    z. With k mirrors there are 2^k images of c / 2^k base cells; cell number = image * base + j,
    and bit i of `image` says whether the base cell j is reflected along mirrors[i].
    `volume` (c,) [m^3] and `centre` (c, 3) [m] are exact for the cells as drawn and add up to the
    shape's true volume. `points` (c, q, 3) and `weights` (c, q) are the quadrature that averages a
    field over a cell: weights of a cell add up to 1.
    """

    corners: Array
    cells: IntArray
    mirrors: tuple[int, ...]
    volume: Array
    centre: Array
    points: Array
    weights: Array
