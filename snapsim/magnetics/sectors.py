"""Equal sectors round an axis: a second symmetry that splits an operator's blocks further.

A ring's quarter is cut into m equal sectors of p base cells. In cylindrical components round z the
operator of a mirror class (`demagnetization`) couples only waves round the axis of one number k,

    M_r, M_z ~ cos k t,  M_t ~ sin k t     or     M_r, M_z ~ sin k t,  M_t ~ -cos k t

over the sectors' angles t: its signs under the mirrors x = 0 and y = 0 choose which, and whether k
is even or odd. So each (3b, 3b) block becomes m blocks of (3p, 3p), b = m p. Wave w of a class has
k = 2w or 2w + 1; the constant and the fastest wave, of which only r and z or only t exist, share
wave 0. Source: symmetry-adapted bases of dihedral groups, the transform is the discrete cosine
transform (Strang, SIAM Review 41, 135 (1999); both from memory). Nothing here is assumed of a mesh:
angles are looked at, and the split blocks are used only if the operator does fall apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.numerics.compilation import bare, compiled, summing

SAME: Final = 1e-8
"""Relative difference up to which sectors count as equal, and what waves may share of a block.

It must cover the rounding of a mesh (1e-11 of its size) and of the quadrature of P; what is
dropped leaves a symmetric operator a little beside, far within the cells' own error.
"""


@dataclass(frozen=True)
class Sectors:
    """How the b base cells and g classes of a mesh are sorted into m sectors.

    `place` (b,): base cell of place j in sector s at s p + j; `direction` (m, 2): cos and sin of
    the sectors' angles; `waves` (4, m, m): orthonormal rows over the sectors, those of r and z in
    classes q with q mod 4 = 0 ... 3, while t has those of the class odd where this is even and the
    other way round, negative where q is odd in y; `block` (g m,) which stored block a wave of a
    class has.
    """

    place: IntArray
    direction: Array
    waves: Array
    block: IntArray

    @property
    def count(self) -> int:
        """Sectors m in a quarter."""
        return len(self.direction)


def undivided(classes: int) -> Sectors:
    """Return the one sector of a body of that many classes that has no others."""
    waves = np.ones((4, 1, 1))
    return Sectors(np.empty(0, np.int64), np.array([[1.0, 0.0]]), waves, np.arange(classes))


def sectors_of(mesh: CellMesh) -> Sectors | None:
    """Return the sectors of a mesh, None where its quarter has no two equal ones."""
    images = 2 ** len(mesh.mirrors)
    base = len(mesh.volume) // images
    if mesh.mirrors[:2] != (0, 1):
        return None
    x, y, z = mesh.centre[:base].T
    share = np.arctan2(y, x) / (np.pi / 2)
    m = len(np.unique(np.round(share, 6)))
    if m < 2 or base % m:
        return None
    kept = np.column_stack([np.hypot(x, y), z, mesh.volume[:base]])
    kept /= np.abs(kept).max(axis=0)
    order = np.lexsort([*np.round(kept.T, 6), np.floor(share * m)])
    ideal = (np.arange(m) + 0.5) / m
    places = kept[order].reshape(m, -1, 3)
    off = share[order] - np.repeat(ideal, base // m)
    if max(np.abs(off).max(), np.abs(places - places[0]).max()) > SAME:
        return None
    angle = ideal * np.pi / 2
    waves = np.array([_waves(angle, bool(q & 1), bool(q & 2)) for q in range(4)])
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    return Sectors(order, direction, waves, _shared(images, m))


def split(blocks: Array, sectors: Sectors) -> Array | None:
    """Return the blocks (k, 3p, 3p) that `sectors.block` refers to, of the class blocks (g, 3b,
    3b); None if these do not fall apart into them.

    Unknowns of a wave: r of all places, then z, then t.
    """
    m = sectors.count
    n = blocks.shape[-1] // m
    found = np.zeros((sectors.block.max() + 1, n, n))
    shares = np.bincount(sectors.block)
    scale = SAME * np.abs(blocks).max()
    parts = []
    for q, block in enumerate(blocks):
        half = _rows_in_waves(sectors, q, block)
        parts.append(_rows_in_waves(sectors, q, half.T).reshape(m, n, m, n))
    for q, part in enumerate(parts):
        for w in range(m):
            at = sectors.block[q * m + w]
            found[at] += (part[w, :, w] + part[w, :, w].T) / (2 * shares[at])
    for q, part in enumerate(parts):
        for w in range(m):
            part[w, :, w] -= found[sectors.block[q * m + w]]
        if np.abs(part).max() > scale:
            return None
    return found


def unknown_volumes(volume: Array, sectors: Sectors) -> Array:
    """Return the volume (3p,) [m^3] that belongs to each unknown of a wave, of base cells (b,)."""
    return np.tile(volume[sectors.place[: len(sectors.place) // sectors.count]], 3)


def _shared(images: int, m: int) -> IntArray:
    """Which block each wave of each class has: classes that differ in both signs share them, but
    for wave 0 where k is even and r and t have different numbers."""
    block = np.arange(images * m)
    for q in range(images):
        even = (q & 1) == (q >> 1 & 1)
        if q & 2:
            block[q * m + even : (q + 1) * m] = block[(q ^ 3) * m + even : ((q ^ 3) + 1) * m]
    return np.unique(block, return_inverse=True)[1].astype(np.int64)


def _waves(angle: Array, odd_x: bool, odd_y: bool) -> Array:
    """Rows (m, m) over the sectors at `angle` (m,) of r and z in one class."""
    number = 2 * np.arange(len(angle)) + (odd_x != odd_y)
    if odd_y:
        number[number == 0] = 2 * len(angle)  # the sine of no wave does not exist
    rows = (np.sin if odd_y else np.cos)(np.outer(number, angle))
    unit: Array = rows / np.linalg.norm(rows, axis=-1, keepdims=True)
    return unit


def _rows_in_waves(sectors: Sectors, q: int, block: Array) -> Array:
    """The rows of `block` (3b, k), those of class `q`, base cell after base cell, in its waves."""
    m, k = sectors.count, block.shape[1]
    cells = block.reshape(-1, 3, k)[sectors.place].reshape(m, -1, 3, k)
    c, n = sectors.direction.T[:, :, None, None]
    x, y, z = cells[:, :, 0], cells[:, :, 1], cells[:, :, 2]
    straight = sectors.waves[q % 4]
    turned = sectors.waves[q % 4 ^ 3] * (-1 if q & 2 else 1)
    found = np.stack(
        [
            np.tensordot(straight, c * x + n * y, 1),
            np.tensordot(straight, z, 1),
            np.tensordot(turned, c * y - n * x, 1),
        ],
        axis=1,
    )
    return found.reshape(-1, k)


@compiled
def to_waves(classes: Array, place: IntArray, direction: Array, waves: Array, out: Array) -> None:
    """Sort class vectors (g, 3b) into waves `out` (g, m, 3p)."""
    g, m, n = out.shape
    rows, found = np.empty((4, m, g // 4 * n)), np.empty((4, m, g // 4 * n))
    p = n // 3
    for q in range(g):
        kind, left = q % 4, q // 4 * n
        sign = -1.0 if q & 2 else 1.0
        for s in range(m):
            c, d = direction[s, 0], direction[s, 1]
            straight, turned = rows[kind, s], rows[kind ^ 3, s]
            for j in range(p):
                at = 3 * place[s * p + j]
                x, y = classes[q, at], classes[q, at + 1]
                straight[left + j] = c * x + d * y
                straight[left + p + j] = classes[q, at + 2]
                turned[left + 2 * p + j] = sign * (c * y - d * x)
    for kind in range(4):
        _sum_rows(waves[kind], rows[kind], found[kind])
    for q in range(g):
        for w in range(m):
            _exchange(found, q, w, out[q, w], True)


@compiled
def from_waves(parts: Array, place: IntArray, direction: Array, waves: Array, out: Array) -> None:
    """Put waves (g, m, 3p) back into class vectors `out` (g, 3b): the transpose of `to_waves`."""
    g, m, n = parts.shape
    rows, found = np.empty((4, m, g // 4 * n)), np.empty((4, m, g // 4 * n))
    for q in range(g):
        for w in range(m):
            _exchange(rows, q, w, parts[q, w], False)
    for kind in range(4):
        _sum_rows(waves[kind].T, rows[kind], found[kind])
    p = n // 3
    for q in range(g):
        kind, left = q % 4, q // 4 * n
        sign = -1.0 if q & 2 else 1.0
        for s in range(m):
            c, d = direction[s, 0], direction[s, 1]
            straight, turned = found[kind, s], found[kind ^ 3, s]
            for j in range(p):
                at = 3 * place[s * p + j]
                x, y = straight[left + j], sign * turned[left + 2 * p + j]
                out[q, at], out[q, at + 1] = c * x - d * y, d * x + c * y
                out[q, at + 2] = straight[left + p + j]


@bare
def _exchange(rows: Array, q: int, w: int, part: Array, out: bool) -> None:
    """Take wave w of class q (3p,) out of `rows` (4, m, 3p g/4), or put it there."""
    n = part.size
    straight, turned, left = rows[q % 4, w], rows[q % 4 ^ 3, w], q // 4 * n
    for u in range(n):
        row = straight if 3 * u < 2 * n else turned
        if out:
            part[u] = row[left + u]
        else:
            row[left + u] = part[u]


@summing
def _sum_rows(weights: Array, rows: Array, total: Array) -> None:
    """Set `total` (m, k) to `weights` (m, m) times `rows` (m, k), three rows at a time."""
    m = len(rows)
    for w in range(m):
        out = total[w]
        for u in range(out.size):
            out[u] = 0.0
        for s in range(0, m - 2, 3):
            a, b, c = weights[w, s], weights[w, s + 1], weights[w, s + 2]
            x, y, z = rows[s], rows[s + 1], rows[s + 2]
            for u in range(out.size):
                out[u] += a * x[u] + b * y[u] + c * z[u]
        for s in range(m - m % 3, m):
            a, x = weights[w, s], rows[s]
            for u in range(out.size):
                out[u] += a * x[u]
