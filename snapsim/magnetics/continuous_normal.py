"""Demagnetising operator of cells whose magnetisation has no charges on inner faces.

    M(x) = M_c + sum_j d_j e_j(x)  in cell c,      b(x) = m(x) + H_s(x),

M_c (c, 3) [A/m] the mean of a cell, as in `demagnetization`, and d (c, 3) [A/m] its *widening*, of
no mean: how much more flux leaves through both faces of a direction j than M_c gives them, so that
M can turn within a cell. m is a field of continuous normal component without sources (one flux
phi [A m] a face, none left over in a cell; lowest order of Raviart and Thomas), H_s the field of
its charge phi/a on the surface alone, a [m^2] a face's area. So b has no sources anywhere, and

    E_d / mu_0 = min over phi of  1/2 int |b - M|^2 dV + 1/2 kappa int |sum_j d_j e_j|^2 dV

over all space is, but for the second term, at least the magnetostatic energy of M (which is that
minimum over all b without sources), and near to it where phi can follow. kappa = 1/chi makes the
second term the widening's own w(M) in a linear material; in a saturated cell it is too small. With

    1/2 int |b - M|^2 = 1/2 s P s + sum_c v [ xi (mean m - M_c) + 1/2 |mean m - M_c|^2 ],

xi the mean of H_s in a cell, everything is quadratic in phi, and eliminating it leaves

    E = sum v w(|M_c|) + mu_0 [ 1/2 M.A M - M.(v h + C l) - 1/2 l.B l ],    d = C^T M + B l

for a field h of magnets, l = int e_j.h dV its part on the widenings: the energy of `magnetization`
with another operator A and another load, whose slopes are -mu_0 (M_c + d.e) for h. A is symmetric
and positive semidefinite, A <= V, by construction.

Why: piecewise constant M cannot turn without charges on inner faces. Error of the pull, in per
cent, on 200 / 1 000 cells, there and here: ring 5 mm from a pole -6.9 / -2.7 and -2.8 / -0.6; bar
of 60 x 20 x 10 mm, tilted -4.2 / -1.6 and -0.8 / -0.2; L of two bars -10 / -4.9 and 0.0 / 0.0.

Assumptions: cells are hexahedra with plane faces (`allows`): on warped ones, those of a ball, the
constant cells of `demagnetization` are better. Charge is even over a face. Symmetry classes
are those of `demagnetization`; fluxes and widenings are scalars, which mirrors leave as they are,
and a face in a mirror plane carries flux in the classes odd in it only. Source: Raviart & Thomas,
Lecture Notes in Mathematics 606, 292 (1977); Piola's map: Boffi, Brezzi & Fortin, Mixed Finite
Element Methods, 2013, section 2.1.3; the minimum over fields b: Brown, Magnetostatic Principles in
Ferromagnetism, 1962, ch. 3 (all from memory).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import linalg, sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import splu

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.errors import ComputationError
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.hexahedron import FACES, CellFaces, cell_faces
from snapsim.magnetics.demagnetization import class_layers
from snapsim.magnetics.single_layer import Polygons, polygons

LEAST_STIFFNESS: Final = 1 / 100
"""Smallest kappa. A field has no curl, but what a few points in a cell see of it has, and widenings
without sources answer that with 1/kappa: plates of chi 1e3 to 1e5, three to six magnets wide, were
pulled at draft with up to 27, 15, 5 and 3 times their mirror magnet's force for 1e-6, 1/1000,
1/200 and 1/100, by the four points of a release (`finite_element_plates`; a magnet 1 mm above cells
of 20 mm). A kappa above 1/chi makes widenings stiffer than the iron and no more; with many points
in a cell 1/100 takes 0.1 % off an angle's or a tilted bar's pull at draft."""

AXIS: Final = np.array([2, 2, 1, 0, 1, 0])
"""Direction, of the reference cube [-1, 1]^3, that each side of `hexahedron.FACES` looks in."""

SENSE: Final = np.array([-1.0, 1.0, -1.0, 1.0, 1.0, -1.0])
"""The same side's sense in it."""

REFERENCE: Final = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1],
     [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]], dtype=np.float64,
)  # fmt: skip
"""Corners of the reference cube in the order of a cell's."""

POINTS: Final = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / np.sqrt(3.0)
"""Four points of equal weight, exact for polynomials of the second degree on the cube."""


@dataclass(frozen=True)
class Widenings:
    """Where the field acts on the b base cells: `points` (b, q, 3) [m], `weights` (b, q), adding up
    to 1, and `shapes` (b, q, 3, 3), [c, k, j] the vector e_j of cell c at its point k."""

    points: Array
    weights: Array
    shapes: Array


@dataclass(frozen=True)
class ContinuousOperator:
    """A, C and B by symmetry class, (g, 3b, 3b) each: `own` [m^3], `mixed` and `wide` [1/m^3].

    Rows of A and C are M's, unknown 3 j + i the component i of base cell j; columns of C, rows and
    columns of B are the widenings'.
    """

    own: Array
    mixed: Array
    wide: Array

    def scaled(self, length: float) -> ContinuousOperator:
        """Return the operator of the mesh `length` times as large."""
        return ContinuousOperator(self.own * length**3, self.mixed, self.wide / length**3)


def serves(meshes: Collection[CellMesh], recoil: bool) -> bool:
    """Do these cells serve a scene whose parts with cells have these `meshes`?

    Not where a magnet yields (`recoil`).
    """
    return bool(meshes) and not recoil and all(allows(mesh) for mesh in meshes)


def allows(mesh: CellMesh) -> bool:
    """Are all faces of a mesh plane, so that one flux density goes through each?"""
    base = len(mesh.cells) // 2 ** len(mesh.mirrors)
    faces = cell_faces(mesh.corners, mesh.cells[:base])
    return len(np.unique(6 * faces.cell + faces.side)) == len(faces.side)


def continuous_operator(mesh: CellMesh, stiffness: float) -> ContinuousOperator:
    """Return the operator of a mesh for kappa = `stiffness` > 0.

    Raises ComputationError where it is not positive definite to rounding.
    """
    base = len(mesh.cells) // 2 ** len(mesh.mirrors)
    faces = cell_faces(mesh.corners, mesh.cells[:base])
    shapes = polygons(faces.corners)
    cells = CellFluxes(mesh, base, faces, shapes)
    layers = class_layers(shapes, mesh.mirrors)
    every = [
        _of_class(cells, layer, cells.may_pass(odd), stiffness) for odd, layer in enumerate(layers)
    ]
    own, mixed, wide = (np.stack(parts) for parts in zip(*every, strict=True))
    return ContinuousOperator(own, mixed, wide)


def surface_layers(mesh: CellMesh) -> tuple[Array, Array]:
    """Return, by class, the single layer (g, s, s) [m^3] between outer faces of the base cells, and
    the field R (g, 3b, s) [m^3] of their charges in these, times the cells' volumes."""
    cells = CellFluxes.of(mesh)
    layers = class_layers(cells.shapes, mesh.mirrors)[:, :, cells.surface]
    pull = np.stack([-(cells.charge.T @ layer) for layer in layers])
    return layers[:, cells.surface], pull


def widenings(mesh: CellMesh) -> Widenings:
    """Return points, weights and shapes of the base cells of a mesh.

    Four points a cell, or a product rule of as many as the mesh's own rule has where that is more
    (`cells.product_rule`).
    """
    base = len(mesh.cells) // 2 ** len(mesh.mirrors)
    faces = cell_faces(mesh.corners, mesh.cells[:base])
    sides = _sides(mesh, base, faces, _centroids(faces.corners))
    corners, size = mesh.corners[mesh.cells[:base]], mesh.volume[:base] ** (2 / 3)
    if mesh.points.shape[1] <= len(POINTS):
        return _shapes(corners, sides, size, POINTS, np.ones(len(POINTS)))
    x, w = np.polynomial.legendre.leggauss(round(mesh.points.shape[1] ** (1 / 3)))
    points = np.stack(np.meshgrid(x, x, x, indexing="ij"), axis=-1).reshape(-1, 3)
    weights = np.einsum("i,j,k->ijk", w, w, w).ravel()
    return _shapes(corners, sides, size, points, weights)


class CellFluxes:
    """The b base cells with f faces: what a flux on each face is in them.

    `surface` (f,) says which faces are the body's own and `outward` (f,) the sign of flux out of it
    there; `charge` (f, 3b) are charges of M_c on faces, as D in `demagnetization`; `mean` (3b, f)
    the mean of m; `widen` (3b, f) the widenings; `leave` (b, f) what leaves a cell.
    """

    def __init__(self, mesh: CellMesh, base: int, faces: CellFaces, shapes: Polygons) -> None:
        self.volume, centre = mesh.volume[:base], mesh.centre[:base]
        self.area, self.corners, self._mirrors = shapes.area, shapes.corners, mesh.mirrors
        self.shapes = shapes
        count = len(shapes.area)
        once = np.bincount(faces.face, minlength=count) == 1
        self.surface: BoolArray = once & self.may_pass(0)
        self.leave = _matrix(faces.sign, faces.cell, faces.face, (base, count))
        self.outward: Array = np.asarray(self.leave.sum(axis=0))
        rows, across = 3 * faces.cell[:, None] + np.arange(3), np.repeat(faces.face, 3)
        outward = faces.sign[:, None] * shapes.normal[faces.face]
        self.charge = _matrix(outward, across, rows, (count, 3 * base))
        arm = _centroids(shapes.corners)[faces.face] - centre[faces.cell]
        share = faces.sign / self.volume[faces.cell]
        self.mean = _matrix(share[:, None] * arm, rows, across, (3 * base, count))
        # what leaves through each side of a cell beyond what its mean gives
        side = 6 * faces.cell + faces.side
        through = _matrix(faces.sign, side, faces.face, (6 * base, count))
        area = outward * self.area[faces.face][:, None]
        given = _matrix(area, np.repeat(side, 3), rows, (6 * base, 3 * base))
        scale = self.volume ** (2 / 3)
        where = 3 * np.repeat(np.arange(base), 6) + np.tile(AXIS, base)
        half = _matrix(0.5 / np.repeat(scale, 6), where, np.arange(6 * base), (3 * base, 6 * base))
        self.widen = (half @ (through - given @ self.mean)).tocsr()
        sides = _sides(mesh, base, faces, _centroids(shapes.corners))
        # always by the same few points, so that an operator belongs to its cells alone
        self.widenings = _shapes(
            mesh.corners[mesh.cells[:base]], sides, scale, POINTS, np.ones(len(POINTS))
        )

    @classmethod
    def of(cls, mesh: CellMesh) -> CellFluxes:
        """Return those of the base cells of a mesh."""
        base = len(mesh.cells) // 2 ** len(mesh.mirrors)
        faces = cell_faces(mesh.corners, mesh.cells[:base])
        return cls(mesh, base, faces, polygons(faces.corners))

    def _in_mirror(self, axis: int) -> BoolArray:
        found: BoolArray = np.all(self.corners[:, :, axis] == 0.0, axis=1)
        return found

    def may_pass(self, odd: int) -> BoolArray:
        """Which faces (f,) may carry flux in the class odd in the mirrors of the bits of `odd`."""
        allowed = np.ones(len(self.area), dtype=np.bool_)
        for bit, axis in enumerate(self._mirrors):
            if not odd >> bit & 1:
                allowed &= ~self._in_mirror(axis)
        return allowed


def _matrix(
    values: Array, rows: IntArray, columns: IntArray, shape: tuple[int, int]
) -> sparse.csr_array:
    entries = np.ravel(values), (np.ravel(rows), np.ravel(columns))
    return sparse.coo_array(entries, shape=shape).tocsr()


def _centroids(p: Array) -> Array:
    """Centroids (f, 3) of plane polygons (f, 4, 3), as two triangles."""
    one = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)[:, None]
    two = np.linalg.norm(np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 0]), axis=1)[:, None]
    total = one * p[:, :3].mean(axis=1) + two * p[:, [0, 2, 3]].mean(axis=1)
    middle: Array = total / (one + two)
    return middle


def _sides(mesh: CellMesh, base: int, faces: CellFaces, middle: Array) -> Array:
    """Centroid of each side (b, 6, 3) from the cell's centre; of one without area its corners'
    mean. `middle` (f, 3) are the faces' centroids."""
    centre = mesh.centre[:base]
    sides: Array = mesh.corners[mesh.cells[:base]][:, FACES].mean(axis=2) - centre[:, None]
    sides[faces.cell, faces.side] = middle[faces.face] - centre[faces.cell]
    return sides


def _shapes(corners: Array, sides: Array, size: Array, points: Array, weights: Array) -> Widenings:
    """Widenings of cells (b, 8, 3) by Piola's map at `points` (q, 3) of the reference cube.

    d_j lets `size` (b,) d_j leave through both sides of direction j, and of the others what keeps
    the mean (Gauss: what leaves times where adds up to zero).
    """
    plus, minus = np.argsort(AXIS + 3 * (SENSE < 0))[:3], np.argsort(AXIS + 3 * (SENSE > 0))[:3]
    apart, both = sides[:, plus] - sides[:, minus], sides[:, plus] + sides[:, minus]
    uneven = -np.linalg.solve(np.swapaxes(apart, 1, 2), np.swapaxes(both, 1, 2))
    factor = 1 + REFERENCE * points[:, None]
    slope = REFERENCE / 8 * factor[:, :, [1, 0, 0]] * factor[:, :, [2, 2, 1]]
    place = np.einsum("kn,cni->cki", factor.prod(axis=2) / 8, corners)
    map_ = np.einsum("knj,cni->ckij", slope, corners)
    jacobian = np.linalg.det(map_)
    across = points[:, :, None] * np.eye(3) + uneven[:, None]
    shapes = map_ @ across / (4 * jacobian[..., None, None])
    share = jacobian * weights
    share /= share.sum(axis=1, keepdims=True)
    shapes *= size[:, None, None, None]
    shapes -= np.einsum("ck,ckij->cij", share, shapes)[:, None]
    return Widenings(place, share, shapes)


def _of_class(
    cells: CellFluxes, layer: Array, allowed: BoolArray, stiffness: float
) -> tuple[Array, Array, Array]:
    """A, C and B (3b, 3b) of one class, whose single layer between faces is `layer` (f, f)."""
    round_ = loops(cells, allowed)
    area = cells.area[cells.surface]
    on_surface = sparse.diags_array(cells.outward[cells.surface]) @ round_[cells.surface]
    potential = layer[:, cells.surface] / area
    mean, widen = (cells.mean @ round_).tocsr(), (cells.widen @ round_).tocsr()
    volume = np.repeat(cells.volume, 3)
    pull = -(on_surface.T @ (cells.charge.T @ potential).T).T
    seen = sparse.diags_array(volume) @ mean + pull
    w = cells.widenings
    own = np.einsum("c,ck,ckia,ckib->cab", stiffness * cells.volume, w.weights, w.shapes, w.shapes)
    count = len(cells.volume)
    own = sparse.bsr_array((own, np.arange(count), np.arange(count + 1))).tocsr()
    cross = mean.T @ pull
    stiff = on_surface.T @ (on_surface.T @ (potential[cells.surface] / area[:, None]).T).T
    stiff = stiff + cross + cross.T
    stiff = stiff + (mean.T @ sparse.diags_array(volume) @ mean + widen.T @ own @ widen).toarray()
    lower, failed = linalg.lapack.dpotrf(stiff, lower=1)
    if failed:
        raise ComputationError("the demagnetising operator is not positive definite to rounding")
    by_mean = linalg.solve_triangular(lower, np.asarray(seen).T, lower=True)
    by_widening = linalg.solve_triangular(lower, widen.T.toarray(), lower=True)
    return (
        np.diag(volume) - by_mean.T @ by_mean,
        by_mean.T @ by_widening,
        by_widening.T @ by_widening,
    )


def loops(cells: CellFluxes, allowed: BoolArray) -> sparse.csr_array:
    """A basis (f, n) of fluxes on the `allowed` faces of which nothing is left over in any cell.

    A tree leads from the outside through one face into each cell. Every other face makes one loop:
    its own flux, led out again by the tree.
    """
    leave, tree = cells.leave, _tree(cells.leave, cells.surface)
    rest = np.flatnonzero(allowed & ~np.isin(np.arange(len(allowed)), tree))
    led = sparse.coo_array(splu(leave[:, tree].tocsc()).solve(-leave[:, rest].toarray()))
    rows = np.concatenate([rest, tree[led.row]])
    columns = np.concatenate([np.arange(len(rest)), led.col])
    values = np.concatenate([np.ones(len(rest)), led.data])
    return _matrix(values, rows, columns, (len(allowed), len(rest)))


def _tree(leave: sparse.csr_array, surface: BoolArray) -> IntArray:
    """The face (b,) by which a breadth-first tree from the outside enters each cell."""
    cells = leave.shape[0]
    ends = leave.tocsc()
    first = ends.indices[ends.indptr[:-1]]
    last = ends.indices[ends.indptr[1:] - 1]
    outside = np.where(surface, cells, last)
    used = np.flatnonzero(surface | (first != last))
    pair = np.sort(np.stack([first[used], outside[used]]), axis=0)
    key, at = np.unique(pair[0] * (cells + 1) + pair[1], return_index=True)
    face = dict(zip(key.tolist(), used[at].tolist(), strict=True))
    graph = sparse.coo_array(
        (np.ones(len(key)), (pair[0, at], pair[1, at])), shape=(cells + 1, cells + 1)
    ).tocsr()
    before = csgraph.breadth_first_order(graph, cells, directed=False)[1][:cells]
    low, high = np.minimum(before, np.arange(cells)), np.maximum(before, np.arange(cells))
    return np.array([face[k] for k in (low * (cells + 1) + high).tolist()], dtype=np.int64)
