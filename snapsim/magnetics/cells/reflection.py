"""Mirror images of a mesh of one octant, in the order that the cell contract asks for."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.hexahedron import volume_and_centre
from snapsim.magnetics.cells.quadrature import harmonic_rule

TURNED = np.array([0, 3, 2, 1, 4, 7, 6, 5])
"""Corner order that keeps a cell's loops counter-clockwise after a reflection."""


def flips(mirrors: tuple[int, ...]) -> Array:
    """Return the signs (g, 3) that the g = 2^k images multiply the coordinates with."""
    image = np.arange(2 ** len(mirrors))
    signs = np.ones((len(image), 3))
    for bit, axis in enumerate(mirrors):
        signs[:, axis] = 1.0 - 2.0 * (image >> bit & 1)
    return signs


def reflected(corners: Array, cells: IntArray, mirrors: tuple[int, ...] = (0, 1, 2)) -> CellMesh:
    """Return the whole mesh of the base `cells` (b, 8) on `corners` (p, 3) [m].

    The base lies where the mirrored coordinates are >= 0; corners at exactly 0 belong to both
    sides.
    """
    volume, centre = volume_and_centre(corners, cells)
    points, weights = harmonic_rule(corners, cells, volume, centre)
    signs = flips(mirrors)
    places, numbers = _merged(corners, signs)
    images = [
        numbers[r][cells[:, TURNED] if np.prod(sign) < 0 else cells] for r, sign in enumerate(signs)
    ]
    return CellMesh(
        corners=places,
        cells=np.concatenate(images),
        mirrors=mirrors,
        volume=np.tile(volume, len(signs)),
        centre=(signs[:, None] * centre).reshape(-1, 3),
        points=(signs[:, None, None] * points).reshape(-1, *points.shape[1:]),
        weights=np.tile(weights, (len(signs), 1)),
    )


def _merged(corners: Array, signs: Array) -> tuple[Array, IntArray]:
    """All images of the corners, those on mirror planes once; and their numbers (g, p)."""
    places: dict[tuple[float, ...], int] = {}
    numbers = np.empty((len(signs), len(corners)), dtype=np.int64)
    for r, sign in enumerate(signs):
        for k, place in enumerate((corners * sign + 0.0).tolist()):
            numbers[r, k] = places.setdefault(tuple(place), len(places))
    return np.array(list(places)), numbers
