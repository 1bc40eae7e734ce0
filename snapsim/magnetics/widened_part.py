"""What a field of magnets does to a part whose cells widen flux (`continuous_normal`).

    load of M:  v h + C l,    l_j = sum_k v w_k e_j(x_k).h(x_k),    d = C^T M + B l

with E / mu_0 = E_M - 1/2 l.B l, E_M the energy that `magnetization` finds for that load. The field
acts on M + d.e at the points x_k, which so are the places of the force (`force`), too. C and B are
kept in float32: value and slope use the same numbers, so the force stays the slope of the energy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.continuous_normal import widenings
from snapsim.magnetics.demagnetization import from_classes, to_classes
from snapsim.magnetics.symmetric_blocks import Buffer


@dataclass(frozen=True)
class FieldOnPart:
    """The field's share in a part's energy: `load` (c, 3) [A m^2] of M, `energy` -1/2 l.B l
    [A^2 m], and `answer` B l [A/m] by class, the widenings that it makes where M stays zero."""

    load: Array
    energy: float
    answer: Array


@dataclass(frozen=True)
class WidenedPart:
    """The c cells of a part, body axes: `points` (c, q, 3) [m], their shares `volume` (c, q) [m^3],
    `shapes` (c, q, 3, 3) as in `Widenings`; `signs` (g, 3) of the reflections, `mixed` and `wide`
    (g, 3b, 3b) C and B in float32."""

    points: Array
    volume: Array
    shapes: Array
    signs: Array
    mixed: Buffer
    wide: Buffer

    def loaded(self, at_points: Array) -> FieldOnPart:
        """Return what the field does, given v w h (c q, 3) [A m^2] at the points."""
        each = at_points.reshape(self.points.shape)
        widening = np.einsum("ckij,cki->cj", self.shapes, each)
        part = self._classes(widening, np.ones_like(self.signs))
        load = each.sum(axis=1) + self._cells(_product(self.mixed, part), self.signs)
        answer = _product(self.wide, part)
        return FieldOnPart(load, -0.5 * float(np.sum(part * answer)), answer)

    def magnetised(self, m: Array, field: FieldOnPart) -> Array:
        """Return M + d.e (c q, 3) [A/m] at the points, of M (c, 3)."""
        found = _product(self.mixed.swapaxes(1, 2), self._classes(m, self.signs))
        d = self._cells(found + field.answer, np.ones_like(self.signs))
        local: Array = (m[:, None] + np.matmul(self.shapes, d[:, None, :, None])[..., 0]).reshape(
            -1, 3
        )
        return local

    def _classes(self, vectors: Array, signs: Array) -> Array:
        out = np.empty((len(signs), 3 * len(vectors) // len(signs)))
        to_classes(np.ascontiguousarray(vectors), signs, out)
        return out

    def _cells(self, classes: Array, signs: Array) -> Array:
        out = np.empty((classes.size // 3, 3))
        from_classes(classes, signs, out)
        return out


def widened_part(mesh: CellMesh, mixed: Buffer, wide: Buffer) -> WidenedPart:
    """Return the part of a mesh with its C and B."""
    signs = flips(mesh.mirrors)
    base = widenings(mesh)
    turned = signs[:, None, None]
    count = len(signs) * len(base.points)
    volume = mesh.volume[:, None] * np.tile(base.weights, (len(signs), 1))
    return WidenedPart(
        points=(turned * base.points).reshape(count, -1, 3),
        volume=volume,
        shapes=(turned[..., None] * base.shapes).reshape(count, -1, 3, 3),
        signs=signs,
        mixed=mixed,
        wide=wide,
    )


def _product(blocks: Buffer, classes: Array) -> Array:
    """Blocks (g, n, n) times class vectors (g, n), in the precision of the blocks."""
    each = classes.astype(blocks.dtype)
    return np.stack([block @ row for block, row in zip(blocks, each, strict=True)]).astype(
        np.float64
    )
