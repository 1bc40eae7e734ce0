"""One of several soft parts whose magnetisation has a continuous normal component.

As `continuous_normal` (b, m, phi, kappa and xi are those of there), but the fluxes stay unknowns:
what other parts do to them changes with the pose. Unknowns q are fluxes round loops, of which
nothing is left over in any cell, sorted into the mirror classes of `demagnetization`:

    s = X q    charge [A/m] on the part's own outer faces,
    m = T q    mean [A/m] of the flux in each cell,      d = W q    its widenings [A/m].

The part's own share of the energy over mu_0 [A^2 m], for a given M (c, 3),

    1/2 s.L s + m.R s + 1/2 sum v m^2 + 1/2 d.O d - M.(v m + R s) + 1/2 sum v M^2,

L the single layer between outer faces, R s = v xi their field in the cells. `inverse` is that of
its second derivative in q where M answers with one susceptibility: exact for linear iron alone.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from scipy import linalg, sparse
from scipy.spatial import cKDTree

from snapsim.arrays import Array, IntArray
from snapsim.errors import ComputationError
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.charged_faces import ChargedFaces, add_to_cells, charge, charged_faces
from snapsim.magnetics.continuous_normal import CellFluxes, loops, surface_layers, widenings
from snapsim.magnetics.mutual import FINE, LEAN, FaceSet, face_set
from snapsim.magnetics.single_layer import polygons
from snapsim.magnetics.symmetric_blocks import Buffer

FILM: Final = 3e-4
"""Air film on every outer face, its thickness over the face's edge: 1.5 um on cells of 5 mm, less
than faces are rough. Charges on faces that touch cancel to what the rules of `mutual` err by, some
1e-4, which in iron of large chi nothing else would hold down."""


@dataclass(frozen=True)
class Faces:
    """Faces of a part, packed for `mutual` with its lean and, outer ones, with its fine rules, and
    their cells as in `ChargedFaces`."""

    packed: FaceSet
    finely: FaceSet
    cell: IntArray
    outward: Array

    def charges(self, m: Array) -> Array:
        """Return D m (f,) of vectors (c, 3)."""
        sigma = np.empty(len(self.cell))
        charge(self.cell, self.outward, np.ascontiguousarray(m), sigma)
        return sigma

    def add_field(self, potential: Array, y: Array) -> None:
        """Subtract D^T `potential` (f,) from `y` (c, 3)."""
        add_to_cells(self.cell, self.outward, -potential, y)


@dataclass(frozen=True)
class FluxPart:
    """The c cells of a part with n unknowns, body axes.

    `points` (c, q, 3) [m], `share` (c, q) [m^3] and `shapes` (c, q, 3, 3) of the widenings;
    `volume` (c,) [m^3]; `signs` (g, 3) and `characters` (g, g) of the mirrors; `surface`, `mean`
    and `widen` X, T, W; `layer` (g, s, s) and `pull` (g, 3b, s) L and R; `stiff` (b, 3, 3) O;
    `starts` (g + 1,) where a class's unknowns begin, `inverse` a matrix for each; `outer` and
    `inner` the faces.
    """

    points: Array
    share: Array
    shapes: Array
    volume: Array
    signs: Array
    characters: Array
    surface: sparse.csr_array
    mean: sparse.csr_array
    widen: sparse.csr_array
    layer: Array
    pull: Array
    stiff: Array
    starts: IntArray
    inverse: tuple[Buffer, ...]
    outer: Faces
    inner: Faces

    def charges(self, q: Array) -> Array:
        """Return s by class (g, s)."""
        return (self.surface @ q).reshape(len(self.signs), -1)

    def means(self, q: Array) -> Array:
        """Return m (c, 3)."""
        return self.vectors((self.mean @ q).reshape(len(self.signs), -1))

    def widened(self, q: Array) -> Array:
        """Return d by class (g, 3b)."""
        return (self.widen @ q).reshape(len(self.signs), -1)

    def scalars(self, classes: Array) -> Array:
        """Put scalars by class (g, k) back into place (g k,)."""
        return (self.characters @ classes).ravel()

    def scalar_classes(self, values: Array) -> Array:
        """Sort scalars (g k,) into classes (g, k)."""
        return self.characters @ values.reshape(len(self.signs), -1)

    def vectors(self, classes: Array) -> Array:
        """Put vectors by class (g, 3b) back into cells (c, 3)."""
        images = (self.characters @ classes).reshape(len(self.signs), -1, 3)
        return (self.signs[:, None] * images).reshape(-1, 3)

    def vector_classes(self, vectors: Array) -> Array:
        """Sort vectors (c, 3) into classes (g, 3b)."""
        images = vectors.reshape(len(self.signs), -1, 3) * self.signs[:, None]
        return self.characters @ images.reshape(len(self.signs), -1)

    def resist(self, d: Array) -> Array:
        """Return O d of d by class (g, 3b)."""
        each = d.reshape(len(self.signs), -1, 3)
        resisted: Array = np.einsum("bij,gbj->gbi", self.stiff, each)
        return resisted.reshape(d.shape)

    def precondition(self, r: Array) -> Array:
        """Return the inverse's product with r (n,)."""
        z = np.empty_like(r)
        for block, first, last in zip(self.inverse, self.starts[:-1], self.starts[1:], strict=True):
            z[first:last] = block @ r[first:last].astype(block.dtype)
        return z

    @cached_property
    def curvatures(self) -> tuple[Curvature, ...]:
        """What the second derivative of each class is made of."""
        base = len(self.volume) // len(self.signs)
        faces = self.layer.shape[1]
        found = []
        for k, (first, last) in enumerate(itertools.pairwise(self.starts)):
            rows = slice(3 * base * k, 3 * base * (k + 1))
            x = self.surface[faces * k : faces * (k + 1), first:last]
            t, w = self.mean[rows, first:last], self.widen[rows, first:last]
            found.append(
                Curvature.of(self.volume[:base], x, t, w, self.layer[k], self.pull[k], self.stiff)
            )
        return tuple(found)

    def loaded(self, at_points: Array) -> tuple[Array, Array]:
        """Return v h (c, 3) and what the field does to widenings by class (g, 3b), given v w h
        (c q, 3) [A m^2] at the points."""
        each = at_points.reshape(self.points.shape)
        widening = np.einsum("ckij,cki->cj", self.shapes, each)
        return each.sum(axis=1), self.scalar_classes(widening)

    def magnetised(self, m: Array, d: Array) -> Array:
        """Return M + d.e (c q, 3) [A/m] at the points, of M (c, 3) and d by class."""
        each = self.scalars(d).reshape(-1, 3)
        local: Array = m[:, None] + np.matmul(self.shapes, each[:, None, :, None])[..., 0]
        return local.reshape(-1, 3)


@dataclass(frozen=True)
class FluxBlocks:
    """What takes long to compute of a part: `layer` and `pull` as there, and `inverse` (g, n, n)
    [m] in float32, of which a class with fewer unknowns takes the first."""

    layer: Array
    pull: Array
    inverse: Buffer

    def scaled(self, length: float) -> FluxBlocks:
        """Return those of the mesh `length` times as large."""
        cubed = length**3
        return FluxBlocks(self.layer * cubed, self.pull * cubed, self.inverse * np.float32(length))


def flux_blocks(mesh: CellMesh, susceptibility: float, stiffness: float) -> FluxBlocks:
    """Return the blocks of a mesh; `susceptibility` the largest, `stiffness` kappa.

    Raises ComputationError where its energy is not positive definite to rounding.
    """
    cells, (layer, pull) = CellFluxes.of(mesh), surface_layers(mesh)
    film = FILM * cells.area[cells.surface] ** 1.5
    layer = layer + np.diag(film)
    maps, stiff = _maps(cells, len(layer)), _stiffness(cells, stiffness)
    most = max(one.shape[1] for one in maps[0])
    inverse = np.zeros((len(layer), most, most), dtype=np.float32)
    answer = np.broadcast_to(np.eye(3) / (1 + 1 / susceptibility), (len(cells.volume), 3, 3))
    for k, (x, t, w) in enumerate(zip(*maps, strict=True)):
        curvature = Curvature.of(cells.volume, x, t, w, layer[k], pull[k], stiff)
        block = inverse_of(curvature.second(answer))
        inverse[k, : len(block), : len(block)] = block
    return FluxBlocks(layer, pull, inverse)


def flux_shapes(mesh: CellMesh) -> dict[str, tuple[tuple[int, ...], ...]]:
    """Return the shapes that the arrays of `flux_blocks` have."""
    cells = CellFluxes.of(mesh)
    count, base, outer = 2 ** len(mesh.mirrors), len(cells.volume), int(cells.surface.sum())
    most = max(int(cells.may_pass(odd).sum()) for odd in range(count)) - base
    return {
        "layer": ((count, outer, outer),),
        "pull": ((count, 3 * base, outer),),
        "inverse": ((count, most, most),),
    }


def flux_part(mesh: CellMesh, stiffness: float, blocks: FluxBlocks) -> FluxPart:
    """Return the part of a mesh; `blocks` its own, for the same kappa."""
    cells = CellFluxes.of(mesh)
    signs = flips(mesh.mirrors)
    count, base = len(signs), len(mesh.cells) // len(signs)
    surface, mean, widen = _maps(cells, count)
    sizes = [one.shape[1] for one in mean]
    fine = widenings(mesh)
    turned = signs[:, None, None]
    outer, inner = _faces(mesh, cells)
    return FluxPart(
        points=(turned * fine.points).reshape(count * base, -1, 3),
        share=mesh.volume[:, None] * np.tile(fine.weights, (count, 1)),
        shapes=(turned[..., None] * fine.shapes).reshape(count * base, -1, 3, 3),
        volume=mesh.volume,
        signs=signs,
        characters=_characters(count),
        surface=sparse.block_diag(surface, format="csr"),
        mean=sparse.block_diag(mean, format="csr"),
        widen=sparse.block_diag(widen, format="csr"),
        layer=blocks.layer,
        pull=blocks.pull,
        stiff=_stiffness(cells, stiffness),
        starts=np.cumsum([0, *sizes]),
        inverse=_trimmed(blocks.inverse, sizes),
        outer=outer,
        inner=inner,
    )


def _trimmed(blocks: Array, sizes: Sequence[int]) -> tuple[Array, ...]:
    """Each sign's block without the rows that only fill it up."""
    pairs = zip(blocks, sizes, strict=True)
    return tuple(np.ascontiguousarray(block[:n, :n]) for block, n in pairs)


Maps = tuple[list[sparse.csr_array], list[sparse.csr_array], list[sparse.csr_array]]


def _maps(cells: CellFluxes, count: int) -> Maps:
    """X, T and W of each class."""
    every = [loops(cells, cells.may_pass(odd)) for odd in range(count)]
    scale = sparse.diags_array(cells.outward[cells.surface] / cells.area[cells.surface])
    surface = [(scale @ one[cells.surface]).tocsr() for one in every]
    mean = [(cells.mean @ one).tocsr() for one in every]
    return surface, mean, [(cells.widen @ one).tocsr() for one in every]


def _stiffness(cells: CellFluxes, stiffness: float) -> Array:
    """O (b, 3, 3) for kappa."""
    w, kappa = cells.widenings, stiffness * cells.volume
    found: Array = np.einsum("c,ck,ckia,ckib->cab", kappa, w.weights, w.shapes, w.shapes)
    return found


def _characters(count: int) -> Array:
    """chi_s(r) / g^(1/2), (g, g)."""
    bits = np.arange(count)
    shared = np.array([[bin(r & s).count("1") for r in bits] for s in bits])
    signs: Array = (1.0 - 2.0 * (shared % 2)) / np.sqrt(count)
    return signs


@dataclass(frozen=True)
class Curvature:
    """A class's second derivative: `held` (n, n), and less `seen`^T A seen / v where cells answer
    with A; `seen` (3b, n) is v times the mean field that loops make in a cell."""

    held: Array
    seen: Array
    volume: Array

    @classmethod
    def of(
        cls, volume: Array, x: sparse.csr_array, t: sparse.csr_array, w: sparse.csr_array,
        layer: Array, pull: Array, stiff: Array,
    ) -> Curvature:  # fmt: skip
        """Return that of a class with maps X, T and W."""
        v = np.repeat(volume, 3)
        count = len(volume)
        own = sparse.bsr_array((stiff, np.arange(count), np.arange(count + 1))).tocsr()
        field = (x.T @ pull.T).T  # R X (3b, n)
        cross = t.T @ field
        held = x.T @ (x.T @ layer).T + cross + cross.T
        held += (t.T @ sparse.diags_array(v) @ t + w.T @ own @ w).toarray()
        seen = np.asarray(sparse.diags_array(v) @ t + field)
        return cls(held, seen, volume)

    def second(self, answer: Array) -> Array:
        """Return the second derivative (n, n) where dM/dbeta of cells is `answer` (b, 3, 3)."""
        each = self.seen.reshape(len(self.volume), 3, -1)
        answering = np.matmul(answer / self.volume[:, None, None], each).reshape(self.seen.shape)
        second: Array = self.held - self.seen.T @ answering
        return second


def inverse_of(second: Array) -> Array:
    """Return the inverse (n, n) of a second derivative.

    Raises ComputationError where that is not positive definite to rounding.
    """
    factor, failed = linalg.lapack.dpotrf(second, lower=1)
    if failed:
        raise ComputationError("the energy of a part's flux is not positive definite to rounding")
    lower, _ = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)
    inverse: Array = np.tril(lower) + np.tril(lower, -1).T
    return inverse


def _faces(mesh: CellMesh, cells: CellFluxes) -> tuple[Faces, Faces]:
    """Outer faces, all images of the first base one, of the second and so on; and inner ones."""
    found = charged_faces(mesh)
    signs = flips(mesh.mirrors)
    first = cells.corners[cells.surface]
    centres = np.concatenate([(first * s).mean(axis=1) for s in signs])
    outer = np.flatnonzero(~found.outward[:, 1].any(axis=1))
    places = found.shapes.corners[outer].mean(axis=1)
    at = np.asarray(cKDTree(places).query(centres)[1])
    if at.size != outer.size or np.unique(at).size != outer.size:
        raise ComputationError("a part's outer faces are not those of its cells")
    inner = np.flatnonzero(found.outward[:, 1].any(axis=1))
    return _some(found, outer[at], True), _some(found, inner, False)


def _some(found: ChargedFaces, which: IntArray, both: bool) -> Faces:
    chosen = ChargedFaces(
        polygons(found.shapes.corners[which]), found.centroid[which], found.moment[which],
        found.cell[which], found.outward[which],
    )  # fmt: skip
    leanly = face_set(chosen, LEAN)
    finely = face_set(chosen, FINE) if both else leanly
    return Faces(leanly, finely, chosen.cell, chosen.outward)
