"""The total field of many poses, quickly: faces far from a point act as a charge and a quadrupole.

    h_f(x) = A [ r/d^3 + 15/2 (r Q r) r/d^7 - 3 Q r/d^5 - 3/2 (tr Q) r/d^5 ] / (4 pi),   d > FAR s

r (3,) [m] from the face's centroid to x, d its length, A [m^2] the area, Q (3, 3) [m^2] the mean of
(y - c)(y - c)^T over the face, s [m] the root of tr Q; nearer faces exactly, as in `total_field`.
Field of unit charge density, from the multipole expansion to second order (Jackson, Classical
Electrodynamics, 3rd ed., section 4.1; from memory). Error of B, against `total_field`: below 1e-3
of |B| at 99 points in 100, 3e-3 at worst (tested), in a seventh of the time. Geometry is set up
once, magnetisation and pose given for each field: what a run stores is enough, nothing is solved.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray, as_floats
from snapsim.constants import MU_0
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.charged_faces import charge, charged_faces
from snapsim.magnetics.charged_polygon import FOUR_PI, polygon_edges, potential_and_field
from snapsim.magnetics.sources import magnet_set, source_for, source_of
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.magnetics.total_field import cell_planes, cells_at, inside
from snapsim.numerics import rotations
from snapsim.numerics.compilation import bare
from snapsim.parts.bodies import Body

FAR: Final = 4.0
"""Distance, in roots of tr Q, from which a face counts as far: an edge of a square has 2.4."""

Field = Callable[[Array], Array]
"""B (k, 3) [T] at world points (k, 3) [m]."""


@dataclass(frozen=True)
class _BodyFaces:
    """Of one body with cells: `edges` (f, 5, 7), `centroid` (f, 3), `area` (f,), `moment` (f, 6);
    `cell`, `outward` as in `ChargedFaces`; `planes` as in `total_field`."""

    shape: FieldSource
    edges: Array
    centroid: Array
    area: Array
    moment: Array
    cell: IntArray
    outward: Array
    planes: Array


class QuickField:
    """The bodies of a scene; `meshes` are the cells of those whose magnetisation is given."""

    def __init__(self, bodies: Sequence[Body], meshes: Mapping[int, CellMesh]) -> None:
        self._bodies = bodies
        self._magnets = [i for i, b in enumerate(bodies) if b.is_magnet]
        self._shapes = {i: source_for(bodies[i].shape) for i in self._magnets if not bodies[i].coil}
        own = np.array([bodies[i].magnetisation for i in self._magnets]).reshape(-1, 3)
        self._set = magnet_set([source_of(bodies[i]) for i in self._magnets], own)
        self._faces = {i: _faces(bodies[i], mesh) for i, mesh in meshes.items()}

    def under(self, bodies: Sequence[Body]) -> QuickField:
        """Return the field of the same bodies with other currents."""
        field = copy(self)
        own = np.array([bodies[i].magnetisation for i in self._magnets]).reshape(-1, 3)
        field._bodies, field._set = bodies, replace(self._set, magnetisations=own)
        return field

    def at(self, position: Array, quaternion: Array, magnetisation: Mapping[int, Array]) -> Field:
        """Return B at poses (n, 3), (n, 4) of the bodies and M (c, 3) [A/m], body axes, of those
        with cells (of a magnet its whole M)."""
        x, q = as_floats(position), as_floats(quaternion)
        turns = rotations.matrix(q)
        charges = self._charges(magnetisation)

        def b(points: Array) -> Array:
            at = as_floats(points).reshape(-1, 3)
            h, _ = self._set.field_and_gradient(x[self._magnets], q[self._magnets], at)
            m = np.zeros_like(at)
            for i, shape in self._shapes.items():
                held = inside(shape, _local(at, x[i], turns[i]))
                m[held] += turns[i] @ self._bodies[i].magnetisation
            for i, (sigma, change) in charges.items():
                local, faces = _local(at, x[i], turns[i]), self._faces[i]
                own = np.zeros_like(at)
                _add(faces.edges, faces.centroid, faces.area, faces.moment, sigma, local, own)
                h += own @ turns[i].T
                within = np.flatnonzero(inside(faces.shape, local))
                cell = cells_at(faces.planes, np.ascontiguousarray(local[within]))
                m[within] += change[cell] @ turns[i].T
            field: Array = MU_0 * (h + m)
            return field

        return b

    def _charges(self, magnetisation: Mapping[int, Array]) -> dict[int, tuple[Array, Array]]:
        """Charge on the faces of each body with cells, and M beside what it is without cells."""
        found = {}
        for i, faces in self._faces.items():
            m = np.ascontiguousarray(magnetisation[i] - self._bodies[i].magnetisation)
            sigma = np.empty(len(faces.area))
            charge(faces.cell, faces.outward, m, sigma)
            found[i] = sigma, m
        return found


def _local(points: Array, position: Array, turn: Array) -> Array:
    return np.ascontiguousarray((points - position) @ turn)


def _faces(body: Body, mesh: CellMesh) -> _BodyFaces:
    found = charged_faces(mesh)
    edges = np.empty((len(found.cell), 5, 7))
    for f in range(len(edges)):
        polygon_edges(found.shapes.corners[f], found.shapes.normal[f], edges[f])
    return _BodyFaces(
        source_for(body.shape),
        edges,
        np.ascontiguousarray(found.centroid),
        np.ascontiguousarray(found.shapes.area),
        np.ascontiguousarray(found.moment),
        found.cell,
        found.outward,
        cell_planes(mesh),
    )


@bare
def _add(
    edges: Array,
    centroid: Array,
    area: Array,
    moment: Array,
    sigma: Array,
    points: Array,
    h: Array,
) -> None:
    """Add the field of charged faces to `h` (k, 3)."""
    for f in range(len(sigma)):
        xx, yy, zz = moment[f, 0], moment[f, 1], moment[f, 2]
        xy, xz, yz = moment[f, 3], moment[f, 4], moment[f, 5]
        trace = xx + yy + zz
        near = FAR * FAR * trace
        strength = sigma[f] * area[f] / FOUR_PI
        for k in range(len(points)):
            x = points[k, 0] - centroid[f, 0]
            y = points[k, 1] - centroid[f, 1]
            z = points[k, 2] - centroid[f, 2]
            d2 = x * x + y * y + z * z
            if d2 < near:
                _phi, u, v, w = potential_and_field(
                    edges[f], 1.0, points[k, 0], points[k, 1], points[k, 2]
                )
                h[k, 0] += sigma[f] * u
                h[k, 1] += sigma[f] * v
                h[k, 2] += sigma[f] * w
                continue
            u = xx * x + xy * y + xz * z
            v = xy * x + yy * y + yz * z
            w = xz * x + yz * y + zz * z
            i2 = 1.0 / d2
            i3 = i2 * np.sqrt(i2)
            along = 1.0 + i2 * (7.5 * (u * x + v * y + w * z) * i2 - 1.5 * trace)
            h[k, 0] += strength * i3 * (along * x - 3.0 * u * i2)
            h[k, 1] += strength * i3 * (along * y - 3.0 * v * i2)
            h[k, 2] += strength * i3 * (along * z - 3.0 * w * i2)
