"""The field of magnets and magnetised parts together, at any point, inside them too.

    H(x) = sum over magnets H_i(x) + sum over faces f of soft cells  sigma_f h_f(x)
    B(x) = mu_0 (H(x) + M(x))                                        [T]

H_i the closed forms of `sources`, h_f the field of a plane polygon of unit charge density
(`charged_polygon`), sigma_f = the jump of M . n at the face (`charged_faces`), M (3,) [A/m] that of
the magnet or of the cell that holds x, else zero. With the charges exact on every face, the normal
part of B is continuous across each and div B = 0: field lines of B close. Assumptions as in
`model`; on an edge of a face H is infinite in truth and merely large here. Source: Brown,
Magnetostatic Principles in Ferromagnetism, 1962, ch. 3 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, ArrayLike, BoolArray, IntArray, as_floats
from snapsim.constants import MU_0
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.hexahedron import FACES
from snapsim.magnetics.charged_faces import charge, charged_faces
from snapsim.magnetics.charged_polygon import polygon_edges, potential_and_field
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.magnetics.sources import magnet_set, source_for, source_of
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.numerics import rotations
from snapsim.numerics.compilation import bare, compiled
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose


@dataclass(frozen=True)
class _FieldOfPart:
    """A soft body, or a magnet that yields: its number, `edges` (f, 5, 7) and `sigma`
    (f,) [A/m] of its faces, `m` (c, 3) [A/m] of its cells, `planes` (c, 6, 4) of theirs: outward
    normal, distance from the origin."""

    body: int
    shape: FieldSource
    edges: Array
    sigma: Array
    m: Array
    planes: Array


class TotalField:
    """Field of all bodies in one pose, or of all `without` one of them (a number).

    `state` is what the model found in that pose.
    """

    def __init__(
        self,
        bodies: Sequence[Body],
        model: MagneticModel,
        pose: Pose,
        state: MagneticState,
        without: int | None = None,
    ) -> None:
        self._position, self._quaternion = as_floats(pose.position), as_floats(pose.quaternion)
        self._turns = rotations.matrix(self._quaternion)
        self._magnets = [i for i, b in enumerate(bodies) if b.is_magnet and i != without]
        self._m = {i: bodies[i].magnetisation for i in self._magnets}
        self._set = magnet_set(
            [source_of(bodies[i]) for i in self._magnets],
            np.array(list(self._m.values())).reshape(-1, 3),
        )
        self._shapes = {i: source_for(bodies[i].shape) for i in self._magnets}
        self._coils = {i for i in self._magnets if bodies[i].coil is not None}
        self._background = model.background
        # of a magnet that yields, what its magnetisation has changed by
        self._parts = [
            _part(i, bodies[i], model.cells[i], m - bodies[i].magnetisation)
            for i, m in zip((*model.soft, *model.recoiling), state.magnetisation, strict=True)
            if i != without
        ]

    def h(self, points: ArrayLike) -> Array:
        """Return H (k, 3) [A/m] at world points (k, 3) [m]."""
        x = as_floats(points).reshape(-1, 3)
        at = self._magnets
        h, _ = self._set.field_and_gradient(self._position[at], self._quaternion[at], x)
        h += self._background
        for part in self._parts:
            own = np.zeros_like(x)
            _add_faces(part.edges, part.sigma, self._local(part.body, x), own)
            h += own @ self._turns[part.body].T
        return h

    def magnetisation(self, points: ArrayLike) -> Array:
        """Return M (k, 3) [A/m] of what holds each world point (k, 3), zero in the air."""
        x = as_floats(points).reshape(-1, 3)
        total = np.zeros_like(x)
        for i in self._magnets:
            if i not in self._coils:  # a winding is no magnet inside
                total[self.holds(i, x)] += self._turns[i] @ self._m[i]
        for part in self._parts:
            local = self._local(part.body, x)
            held = np.flatnonzero(inside(part.shape, local))
            cell = cells_at(part.planes, np.ascontiguousarray(local[held]))
            total[held] += part.m[cell] @ self._turns[part.body].T
        return total

    def holds(self, body: int, points: ArrayLike) -> BoolArray:
        """Return which world points (k, 3) body number `body`, a magnet or soft, holds."""
        local = self._local(body, as_floats(points).reshape(-1, 3))
        shapes = self._shapes | {part.body: part.shape for part in self._parts}
        return inside(shapes[body], local)

    def b(self, points: ArrayLike) -> Array:
        """Return B (k, 3) [T] at world points (k, 3) [m]."""
        field: Array = MU_0 * (self.h(points) + self.magnetisation(points))
        return field

    def _local(self, body: int, x: Array) -> Array:
        """World points (k, 3) in body axes."""
        return np.ascontiguousarray((x - self._position[body]) @ self._turns[body])


def _part(number: int, body: Body, mesh: CellMesh, m: Array) -> _FieldOfPart:
    faces = charged_faces(mesh)
    sigma = np.empty(len(faces.cell))
    charge(faces.cell, faces.outward, m, sigma)
    edges = np.empty((len(sigma), 5, 7))
    for f in range(len(sigma)):
        polygon_edges(faces.shapes.corners[f], faces.shapes.normal[f], edges[f])
    return _FieldOfPart(number, source_for(body.shape), edges, sigma, m, cell_planes(mesh))


def cell_planes(mesh: CellMesh) -> Array:
    """Outward normal and distance (c, 6, 4) of each cell's faces; a collapsed one has zeros."""
    loops = mesh.corners[mesh.cells[:, FACES]]
    normal = np.cross(loops[:, :, 2] - loops[:, :, 0], loops[:, :, 3] - loops[:, :, 1])
    length = np.linalg.norm(normal, axis=2, keepdims=True)
    normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    middle = loops.mean(axis=2)
    # Mirrored cells run the other way round: their own centre says which side is out.
    side = np.einsum("cfi,cfi->cf", normal, middle - mesh.centre[:, None])
    normal *= np.where(side < 0, -1.0, 1.0)[:, :, None]
    return np.concatenate([normal, np.einsum("cfi,cfi->cf", normal, middle)[:, :, None]], axis=2)


def inside(shape: FieldSource, points: Array) -> BoolArray:
    """Which points (k,) in body axes a shape holds: the trace of its tensor is -1 there, else 0."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    trace = np.trace(shape.tensor(points), axis1=1, axis2=2)
    held: BoolArray = np.abs(trace) > 0.5
    return held


@compiled
def cells_at(planes: Array, points: Array) -> IntArray:
    """The cell (k,) that holds each point of the body, or lies nearest to it."""
    found = np.zeros(len(points), dtype=np.int64)
    for k in range(len(points)):
        best = np.inf
        for c in range(planes.shape[0]):
            out = -np.inf
            for f in range(planes.shape[1]):
                n = planes[c, f]
                d = n[0] * points[k, 0] + n[1] * points[k, 1] + n[2] * points[k, 2] - n[3]
                out = max(out, d)
                if out >= best:
                    break
            if out < best:
                best, found[k] = out, c
    return found


@bare
def _add_faces(edges: Array, sigma: Array, points: Array, h: Array) -> None:
    """Add the field of charged faces to `h` (k, 3)."""
    for k in range(len(points)):
        for f in range(len(sigma)):
            _phi, x, y, z = potential_and_field(
                edges[f], 1.0, points[k, 0], points[k, 1], points[k, 2]
            )
            h[k, 0] += sigma[f] * x
            h[k, 1] += sigma[f] * y
            h[k, 2] += sigma[f] * z
