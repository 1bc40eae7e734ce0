"""Geometry of hexahedral cells: their faces, volume, centre and second moment.

A cell is the solid bounded by its six faces. A face whose corners are not in one plane is drawn as
two triangles, split along its shorter diagonal (along the one through its lowest corner number
when they are equal), so that two cells share their common face exactly. Volume and centre follow
from Gauss's theorem over the faces, V = 1/3 sum a_f n_f . x_f, exact for plane faces. A wedge or a
tetrahedron repeats corners; faces that collapse are dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray

FACES: Final = np.array(
    [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]
)
"""Corners of the six faces, counter-clockwise seen from outside."""

PLANE: Final = 1e-7
"""A face is plane when its corners are within this share of its size of one plane."""


@dataclass(frozen=True)
class CellFaces:
    """The distinct faces of c cells as flat polygons: `corners` (f, 4, 3) [m], triangles repeat the
    last corner, and who they bound: incidence m says that face `face[m]` bounds cell `cell[m]` on
    its side `side[m]` (a row of `FACES`), and `sign[m]` is +1 when the corners run
    counter-clockwise seen from outside that cell, else -1."""

    corners: Array
    face: IntArray
    cell: IntArray
    sign: Array
    side: IntArray


def cell_faces(corners: Array, cells: IntArray) -> CellFaces:
    """Return the faces of `cells` (c, 8) on `corners` (p, 3); a shared face is listed once."""
    loops = cells[:, FACES].reshape(-1, 4)
    owner = np.repeat(np.arange(len(cells)), 6)
    alive = np.array([len(set(loop)) > 2 for loop in loops.tolist()])
    side = np.tile(np.arange(6), len(cells))[alive]
    loops, owner = loops[alive], owner[alive]
    canonical, sign = _canonical(loops)
    distinct, face = np.unique(canonical, axis=0, return_inverse=True)
    return _flat(corners, distinct, face.reshape(-1), owner, sign, side)


def _canonical(loops: IntArray) -> tuple[IntArray, Array]:
    """Loops from their lowest corner on toward its lower neighbour, triangles repeating the last
    corner; and +-1 for loops kept or turned round."""
    kept, sign = [], []
    for loop in loops.tolist():
        ring = [v for k, v in enumerate(loop) if v != loop[k - 1]]
        start = ring.index(min(ring))
        ring = ring[start:] + ring[:start]
        turned = ring[1] > ring[-1]
        if turned:
            ring = [ring[0], *ring[:0:-1]]
        kept.append(ring if len(ring) == 4 else [*ring, ring[-1]])
        sign.append(-1.0 if turned else 1.0)
    return np.array(kept, dtype=np.int64), np.array(sign)


def _flat(
    corners: Array, loops: IntArray, face: IntArray, owner: IntArray, sign: Array, side: IntArray
) -> CellFaces:
    """Split the warped ones of `loops` (f, 4) into two triangles each."""
    p = corners[loops]
    first = np.linalg.norm(p[:, 2] - p[:, 0], axis=1)
    second = np.linalg.norm(p[:, 3] - p[:, 1], axis=1)
    normal = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    area = np.linalg.norm(normal, axis=1)
    height = np.abs(np.einsum("fi,fi->f", normal, p[:, 1] - p[:, 0]))
    warped = height > PLANE * area * np.maximum(first, second)
    across = first > second * (1 + PLANE)
    one = np.where(across[:, None], loops[:, [0, 1, 3, 3]], loops[:, [0, 1, 2, 2]])
    two = np.where(across[:, None], loops[:, [1, 2, 3, 3]], loops[:, [0, 2, 3, 3]])
    extra = np.cumsum(warped) - 1 + len(loops)
    flat = np.concatenate([np.where(warped[:, None], one, loops), two[warped]])
    again = warped[face]
    return CellFaces(
        corners[flat],
        np.concatenate([face, extra[face[again]]]),
        np.concatenate([owner, owner[again]]),
        np.concatenate([sign, sign[again]]),
        np.concatenate([side, side[again]]),
    )


def volume_and_centre(corners: Array, cells: IntArray) -> tuple[Array, Array]:
    """Return the volume (c,) [m^3] and the centre of volume (c, 3) [m] of each cell as drawn."""
    faces = cell_faces(corners, cells)
    inside = corners[cells].mean(axis=1)
    p = faces.corners[faces.face] - inside[faces.cell][:, None]
    volume = np.zeros(len(cells))
    moment = np.zeros((len(cells), 3))
    for a, b, c in ((0, 1, 2), (0, 2, 3)):
        cross = np.cross(p[:, b], p[:, c])
        tetrahedron = faces.sign * np.einsum("mi,mi->m", p[:, a], cross) / 6
        np.add.at(volume, faces.cell, tetrahedron)
        quarter = (p[:, a] + p[:, b] + p[:, c]) / 4
        np.add.at(moment, faces.cell, tetrahedron[:, None] * quarter)
    return volume, inside + moment / volume[:, None]


def second_moment(corners: Array, cells: IntArray, volume: Array, centre: Array) -> Array:
    """Return the mean of (x - c)(x - c)^T over each cell (c, 3, 3) [m^2]."""
    faces = cell_faces(corners, cells)
    p = faces.corners[faces.face] - centre[faces.cell][:, None]
    total = np.zeros((len(cells), 3, 3))
    for a, b, c in ((0, 1, 2), (0, 2, 3)):
        cross = np.cross(p[:, b], p[:, c])
        tetrahedron = faces.sign * np.einsum("mi,mi->m", p[:, a], cross) / 6
        corner = p[:, [a, b, c]]
        both = corner.sum(axis=1)
        square = np.einsum("mki,mkj->mij", corner, corner) + both[:, :, None] * both[:, None, :]
        np.add.at(total, faces.cell, tetrahedron[:, None, None] * square / 20)
    return total / volume[:, None, None]
