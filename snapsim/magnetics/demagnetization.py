"""Demagnetising operator of a mesh of uniformly magnetised cells.

    N = V^-1 D^T P D,    H_d = -N M,    E_d = 1/2 mu0 M . V N M

M (c, 3) [A/m] magnetisation of the cells, V their volumes [m^3]; D M the charge densities M . n
[A/m] on the faces of all cells, the jump of M . n on a face between two; P [m^3] the Galerkin
single layer between faces (`single_layer`); H_d [A/m] the demagnetising field averaged over each
cell, E_d [J] the magnetostatic energy of the body's own poles. V N is symmetric by construction and
positive semidefinite to the quadrature's accuracy (lowest eigenvalue of N above -1e-6, typically
-1e-9). Assumptions: magnetisation constant in a cell, flat faces. Source: Brown, Magnetostatic
Principles in Ferromagnetism, 1962, ch. 3 (from memory); for bricks it is the volume-averaged tensor
of Newell, Williams & Dunlop, J. Geophys. Res. 98, 9551 (1993), against which it is tested.

Mirror symmetry. A mesh with k mirrors has g = 2^k images of b base cells. With the reflections R_r,
r = 0 ... g - 1, and the characters chi_s(r) = (-1)^(bits that s and r share), the class vectors

    m_s = g^-1/2 sum over r of  chi_s(r) R_r M_r        (b, 3) of each class s

do not mix: V N is one (3b, 3b) block a class, D^T [sum over r of chi_s(r) P(base, image r)] D.
Unknown 3 j + i of a class is component i of base cell j. A uniform M along a mirrored axis lies in
the one class whose bit is that of the axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from snapsim.arrays import Array, as_floats
from snapsim.errors import ComputationError
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.hexahedron import CellFaces, cell_faces
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.single_layer import Polygons, polygons, single_layer
from snapsim.numerics.compilation import bare


@dataclass(frozen=True)
class DemagnetizingOperator:
    """N of one mesh, as blocks by symmetry class.

    `blocks` (g, 3b, 3b) [m^3] are V N, symmetric; `mirrors` as in the mesh, g = 2^len(mirrors);
    `volume` (b,) [m^3] of the base cells.
    """

    blocks: Array
    mirrors: tuple[int, ...]
    volume: Array

    @property
    def flips(self) -> Array:
        """Signs (g, 3) of the reflections R_r."""
        return flips(self.mirrors)

    def to_classes(self, vectors: Array) -> Array:
        """Return the class vectors (g, 3b) of cell vectors (c, 3); orthonormal."""
        out = np.empty((len(self.blocks), 3 * len(self.volume)))
        to_classes(as_floats(vectors), self.flips, out)
        return out

    def from_classes(self, classes: Array) -> Array:
        """Return the cell vectors (c, 3) of class vectors (g, 3b)."""
        out = np.empty((len(self.blocks) * len(self.volume), 3))
        from_classes(np.array(classes, dtype=np.float64), self.flips, out)
        return out

    def apply(self, magnetisation: Array) -> Array:
        """Return N M (c, 3) of M (c, 3): minus the demagnetising field, cell means."""
        classes = self.to_classes(magnetisation)
        product = np.matmul(self.blocks, classes[:, :, None])[:, :, 0]
        return self.from_classes(product / np.repeat(self.volume, 3))

    def shifted_inverse(self, susceptibility: float) -> Array:
        """Return (V N + V / chi)^-1 as blocks (g, 3b, 3b) [1/m^3], symmetric.

        Raises ValueError for chi <= 0 or NaN; ComputationError where V N + V / chi is not positive
        definite to rounding, which takes a chi beyond about 1e6.
        """
        return shifted_inverse(self.blocks, np.repeat(self.volume, 3), susceptibility)

    def scaled(self, length: float) -> DemagnetizingOperator:
        """Return the operator of the mesh `length` times as large; N itself has no scale."""
        return DemagnetizingOperator(self.blocks * length**3, self.mirrors, self.volume * length**3)


def shifted_inverse(blocks: Array, volume: Array, susceptibility: float) -> Array:
    """Return (B + V / chi)^-1 of each block (g, n, n) [m^3]; `volume` (n,) [m^3] of the unknowns.

    Raises as `DemagnetizingOperator.shifted_inverse`.
    """
    if not susceptibility > 0:
        raise ValueError(f"a susceptibility must be greater than 0, not {susceptibility:g}")
    shift = np.diag(volume / susceptibility)
    return np.stack([_inverse(block + shift, susceptibility) for block in blocks])


def demagnetizing_operator(mesh: CellMesh) -> DemagnetizingOperator:
    """Return the demagnetising operator of a mesh."""
    images = 2 ** len(mesh.mirrors)
    base = len(mesh.cells) // images
    faces = cell_faces(mesh.corners, mesh.cells[:base])
    shapes = polygons(faces.corners)
    charge = _charge_matrix(faces, shapes, base)
    layers = class_layers(shapes, mesh.mirrors)
    blocks = np.empty((images, 3 * base, 3 * base))
    for s, layer in enumerate(layers):
        half = charge.T @ (charge.T @ layer).T
        blocks[s] = (half + half.T) / 2
    return DemagnetizingOperator(blocks, mesh.mirrors, mesh.volume[:base].copy())


def class_layers(shapes: Polygons, mirrors: tuple[int, ...]) -> Array:
    """Return the single layer (g, f, f) [m^3] of f base faces by symmetry class."""
    return _sorted_by_class(single_layer(shapes, flips(mirrors)))


def _charge_matrix(faces: CellFaces, shapes: Polygons, base: int) -> sparse.csr_array:
    """D (f, 3b): charge density on each face of unit magnetisation of each base cell."""
    values = faces.sign[:, None] * shapes.normal[faces.face]
    rows = np.repeat(faces.face, 3)
    columns = 3 * faces.cell[:, None] + np.arange(3)
    size = (len(shapes.area), 3 * base)
    return sparse.coo_array((values.ravel(), (rows, columns.ravel())), shape=size).tocsr()


def _sorted_by_class(pairs: Array) -> Array:
    """Turn image pairs (g, f, f) into class sums over r of chi_s(r) P_r, in place."""
    images, count = len(pairs), pairs.shape[1]
    span = 1
    while span < images:
        halves = pairs.reshape(images // (2 * span), 2, span, count, count)
        total = halves[:, 0] + halves[:, 1]
        halves[:, 1] = halves[:, 0] - halves[:, 1]
        halves[:, 0] = total
        span *= 2
    return pairs


def _inverse(matrix: Array, susceptibility: float) -> Array:
    """Inverse of a symmetric positive definite matrix by Cholesky's factors."""
    factor, failed = linalg.lapack.dpotrf(matrix, lower=1)
    if failed:
        raise ComputationError(
            f"the demagnetising operator with susceptibility {susceptibility:g} is not positive "
            "definite to rounding; use a smaller susceptibility"
        )
    lower, _ = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)
    inverse: Array = np.tril(lower) + np.tril(lower, -1).T
    return inverse


@bare
def to_classes(vectors: Array, signs: Array, out: Array) -> None:
    """Sort `vectors` (c, 3) into classes `out` (g, 3b); `signs` (g, 3) are the reflections."""
    images = len(signs)
    base = len(vectors) // images
    for r in range(images):
        for j in range(base):
            for i in range(3):
                out[r, 3 * j + i] = signs[r, i] * vectors[r * base + j, i]
    _butterflies(out, images)


@bare
def from_classes(classes: Array, signs: Array, out: Array) -> None:
    """Put `classes` (g, 3b) back into cell vectors `out` (c, 3): the transpose of `to_classes`.

    Overwrites `classes`.
    """
    images = len(signs)
    base = len(out) // images
    _butterflies(classes, images)
    for r in range(images):
        for j in range(base):
            for i in range(3):
                out[r * base + j, i] = signs[r, i] * classes[r, 3 * j + i]


@bare
def _butterflies(rows: Array, images: int) -> None:
    """Orthonormal Walsh-Hadamard transform over g = 2^k rows (g, n), in place; its own inverse."""
    span = 1
    while span < images:
        for start in range(0, images, 2 * span):
            for k in range(start, start + span):
                one, other = rows[k], rows[k + span]
                for j in range(len(one)):
                    a, b = one[j], other[j]
                    one[j], other[j] = a + b, a - b
        span *= 2
    scale = 1.0 / np.sqrt(float(images))
    for k in range(images):
        row = rows[k]
        for j in range(len(row)):
            row[j] *= scale
