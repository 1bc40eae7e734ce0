"""Force on saturating iron near a magnet by finite elements: a reference made without snapsim.

Run it (about five minutes on one core) with

    pip install "snapsim[reference]"
    OMP_NUM_THREADS=1 python tests/references/finite_element_force.py

and it rewrites finite_element_force.json beside it; `--only NAME` runs one check or case.
tests/magnetics/test_finite_element_reference.py compares the results with snapsim. Nothing here
imports snapsim.

Equation. Magnetostatics without currents: H = -grad phi, div B = 0, B = mu0 (H + M(|H|)) + J, with
M in the iron only and the magnet's polarisation J [T] given and rigid (recoil permeability 1). The
iron follows M = chi H / (1 + chi H / Ms) (Frohlich-Kennelly). The potential u [A] minimises the
convex functional

    G(u) = mu0 int (1/2 |grad u|^2) dV + mu0 int_iron L(|H|) dV - int J.grad u dV,   L' = M

in one of two forms (J. Simkin and C. W. Trowbridge, Int. J. Numer. Meth. Eng. 14, 423 (1979), on
total and reduced scalar potentials; from memory):

* total: u = phi everywhere, the magnet meshed (axisymmetric cases). The energy of the iron is
  E = G(magnet alone) - G(magnet and iron), both on the same mesh.
* reduced: u is the iron's own potential, and H = -grad(u + s) in the iron, where s is the magnet's
  closed-form potential *interpolated in the same finite-element space*. So the magnet's field and
  the iron's answer, which nearly cancel where mu is large, cancel before they are differentiated.
  The magnet need not be meshed and E = -G. (Three dimensions, and uniform applied fields.)

E is the least of  int w(M) + mu0/2 M.N M - mu0 M.h  over M, the energy whose gradient is the force.
A conforming finite-element potential makes G too large, so E too low: methods that restrict M
instead come from above, and the truth lies between (but for the interpolation of s).

Force, twice: (K) F = mu0 int_iron (grad h)^T M dV with the magnet's own field h from magpylib, and
(S) Maxwell's stress averaged over a shell of air, F = -int T grad(g) dV, g falling from 1 on the
iron to 0 before the magnet (F. Henrotte, G. Deliege, K. Hameyer, COMPEL 23, 1004 (2004); from
memory). Torque about the part's centre likewise, (K) with the added mu0 M x h.

Discretisation: biquadratic (r, z) and triquadratic (x, y, z) elements on tensor grids whose points
crowd cubically toward every face of iron and magnet, which restores the full rate in spite of the
fields' singularities at edges; the outer boundary, u = 0, is 3 m away (1 m in three dimensions);
halving that distance changes a disc's energy by 1e-5.
n cells lie along half of every edge and 3 n outward. Results are extrapolated with the rate that
the energies of the three finest meshes show; the error given is the whole extrapolation step plus
the difference between the two forces on the finest mesh.
Three dimensions use the mirror plane y = 0 and conjugate gradients preconditioned with the exact
inverse of the tensor grid's Laplacian (R. E. Lynch, J. R. Rice, D. H. Thomas, Numer. Math. 6, 185
(1964); from memory).
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import magpylib
import numpy as np
import scipy
import scipy.sparse as sp
import skfem
from scipy.sparse.linalg import LinearOperator, cg, splu
from skfem import Basis, BilinearForm, Functional, LinearForm
from skfem.helpers import dot, grad, mul

MU_0 = 1.25663706212e-6  # H/m, CODATA 2018
FAR = 3.0  # m, distance of the outer boundary from the parts, axisymmetric
FAR_BOX = 1.0  # m, the same in three dimensions
Array = Any
RECORD = Path(__file__).with_suffix(".json")


# --- the iron -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Iron:
    """M = chi H / (1 + chi H / Ms); `saturation` Ms [A/m], infinite for a linear material."""

    chi: float
    saturation: float = np.inf

    def secant(self, h: Array) -> Array:
        """M/H."""
        return self.chi / (1.0 + self.chi * h / self.saturation)

    def tangent(self, h: Array) -> Array:
        """dM/dH."""
        return self.chi / (1.0 + self.chi * h / self.saturation) ** 2

    def coenergy(self, h: Array) -> Array:
        """L(H) = integral of M dH [A^2/m^2]."""
        if np.isinf(self.saturation):
            return 0.5 * self.chi * h**2
        t = self.chi * h / self.saturation
        return self.saturation**2 / self.chi * (t - np.log1p(t))


GREY_IRON = Iron(400.0, 1.6 / MU_0)


# --- graded grids -------------------------------------------------------------------------------


def toward_both(length: float, n: int) -> Array:
    """(2 n + 1,) points from 0 to `length`, crowding cubically toward both ends."""
    half = 0.5 * length * np.linspace(0.0, 1.0, n + 1) ** 3
    return np.concatenate([half, length - half[-2::-1]])


def outward(scale: float, far: float, n: int) -> Array:
    """(n + 1,) points from 0 to `far`: quadratic at first, geometric beyond about `scale`."""
    t = np.linspace(0.0, 1.0, n + 1)
    return scale * t**2 * (far / scale) ** t


def join(*pieces: Array, start: float) -> Array:
    """Stretches that each begin at 0, laid end to end from `start`."""
    points = [np.array([start])]
    for piece in pieces:
        points.append(points[-1][-1] + piece[1:])
    return np.concatenate(points)


def both_ways(inner: Array, scale: float, far: float, n: int) -> Array:
    """A grid with the outer region added before and after it."""
    out = outward(scale, far, n)
    return np.concatenate([inner[0] - out[:0:-1], inner, inner[-1] + out[1:]])


# --- one nonlinear problem, in any dimension ----------------------------------------------------


@dataclass(frozen=True)
class Problem:
    """Minimise G(u) / mu0 [A^2 m]; `weight`(x) turns dx into a volume, `load` (dofs,) [A m].

    `source` (dofs,) [A] is s at the nodes; `solve`(A, b) solves on the free unknowns.
    """

    basis: Basis
    iron_basis: Basis
    iron: Iron
    weight: Callable[[Array], Array]
    stiffness: sp.csr_matrix
    load: Array
    source: Array
    free: Array
    solve: Callable[[sp.csr_matrix, Array], Array]


def iron_field(p: Problem, u: Array) -> Array:
    """H at the iron's quadrature points (dim, elements, points) [A/m]."""
    return -p.iron_basis.interpolate(u + p.source).grad


def magnetisation(p: Problem, u: Array) -> Array:
    """M at the iron's quadrature points (dim, elements, points) [A/m]."""
    h = iron_field(p, u)
    return p.iron.secant(np.sqrt((h**2).sum(0))) * h


def iron_volume(p: Problem) -> Array:
    """Volume of each quadrature point of the iron (elements, points) [m^3]."""
    return p.iron_basis.dx * p.weight(p.iron_basis.global_coordinates())


def functional(p: Problem, u: Array) -> float:
    """G(u) [J]."""
    h = np.sqrt((iron_field(p, u) ** 2).sum(0))
    local = float((iron_volume(p) * p.iron.coenergy(h)).sum())
    return MU_0 * (0.5 * u @ (p.stiffness @ u) + local - p.load @ u)


def residual(p: Problem, u: Array) -> Array:
    """Gradient of G / mu0 (dofs,)."""
    form = LinearForm(lambda v, w: p.weight(w.x) * dot(w["m"], grad(v)))
    return p.stiffness @ u - p.load - form.assemble(p.iron_basis, m=magnetisation(p, u))


def iron_stiffness(p: Problem, u: Array) -> sp.csr_matrix:
    """Second derivative of the iron's share of G / mu0."""
    h = iron_field(p, u)
    size = np.sqrt((h**2).sum(0)) + 1e-30
    secant, tangent = p.iron.secant(size), p.iron.tangent(size)
    along = np.einsum("iep,jep->ijep", h, h) * (tangent - secant) / size**2
    tensor = along + np.eye(len(h))[:, :, None, None] * secant
    form = BilinearForm(lambda a, v, w: p.weight(w.x) * dot(mul(w["c"], grad(a)), grad(v)))
    return form.assemble(p.iron_basis, c=tensor).tocsr()


def linear_start(p: Problem) -> Array:
    """The potential if the iron never saturated."""
    linear = replace(p, iron=Iron(p.iron.chi))
    u = np.zeros(p.basis.N)
    tangent = (p.stiffness + iron_stiffness(linear, u))[p.free][:, p.free]
    u[p.free] = p.solve(tangent, -residual(linear, u)[p.free])
    return u


def minimise(p: Problem, tolerance: float = 1e-8) -> tuple[Array, int]:
    """Newton's method with step halving; G is convex, so any start will do."""
    u, value, first = linear_start(p), np.inf, 0.0
    value = functional(p, u)
    for step in range(1, 60):
        r = residual(p, u)[p.free]
        tangent = p.stiffness + iron_stiffness(p, u)
        move = np.zeros_like(u)
        move[p.free] = p.solve(tangent[p.free][:, p.free], -r)
        decrease = -MU_0 * float(r @ move[p.free])
        first = max(first, decrease)
        if decrease < tolerance * abs(value) and step > 1 and decrease < tolerance * first:
            return u + move, step
        share = 1.0
        while (trial := functional(p, u + share * move)) > value - 1e-4 * share * decrease:
            share *= 0.5
            if share < 1e-6:
                return u, step
        u, value = u + share * move, trial
    raise RuntimeError("Newton's method did not converge")


# --- axisymmetric -------------------------------------------------------------------------------


def ring_weight(x: Array) -> Array:
    """2 pi r."""
    return 2.0 * np.pi * x[0]


def direct(a: sp.csr_matrix, b: Array) -> Array:
    """Sparse LU."""
    return splu(a.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(b)


def axisymmetric(mesh: skfem.Mesh, inside: Callable[[Array], Array], iron: Iron) -> Problem:
    """A problem without load or source on an (r, z) mesh, iron where `inside`(midpoint)."""
    curved = isinstance(mesh, skfem.MeshQuad2)
    basis = Basis(mesh, skfem.ElementQuad2(), intorder=7)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    part = basis.with_elements(np.flatnonzero(inside(middle)))
    form = BilinearForm(lambda a, v, w: ring_weight(w.x) * dot(grad(a), grad(v)))
    x = basis.doflocs
    if curved:
        edge = np.hypot(*x) > np.hypot(*x).max() * (1 - 1e-9)
    else:
        edge = (x[0] == x[0].max()) | (x[1] == x[1].min()) | (x[1] == x[1].max())
    zero = np.zeros(basis.N)
    return Problem(
        basis, part, iron, ring_weight, form.assemble(basis).tocsr(), zero, zero,
        np.flatnonzero(~edge), direct,
    )  # fmt: skip


def half_disc(n: int, radius: float) -> skfem.MeshQuad2:
    """Half-plane mesh of a sphere in a ball of radius `FAR`: a square core, then circular layers.

    The sphere's outermost layers, and all outside it, are bounded by true circles.
    """
    i, j = np.meshgrid(np.arange(n + 1), np.arange(2 * n + 1), indexing="ij")
    core = np.stack([i.ravel() / n, j.ravel() / n - 1.0], axis=1)
    number = i * (2 * n + 1) + j
    rim = np.concatenate([number[:-1, 0], number[-1], number[-2::-1, -1]])
    angle = core[rim] / np.hypot(*core[rim].T)[:, None]
    beyond = radius * (FAR / radius) ** (np.arange(1, 3 * n + 1) / (3 * n))
    circles = np.concatenate([np.linspace(0.65, 1.0, n // 2 + 1) * radius, beyond])
    points = np.concatenate([0.35 * radius * core, *(r * angle for r in circles)])
    layers = [rim] + [len(core) + k * len(rim) + np.arange(len(rim)) for k in range(len(circles))]
    square = [number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]]
    cells = [np.stack([c.ravel() for c in square])]
    for a, b in pairwise(layers):
        cells.append(np.stack([a[:-1], b[:-1], b[1:], a[1:]]))
    mesh = skfem.MeshQuad(np.ascontiguousarray(points.T), np.ascontiguousarray(np.hstack(cells)))
    return curve(mesh, 0.6 * radius)


def curve(mesh: skfem.MeshQuad, beyond: float) -> skfem.MeshQuad2:
    """Lay the middle nodes of edges and cells on circles where all corners are `beyond`."""
    fine = skfem.MeshQuad2.from_mesh(mesh)
    x = fine.doflocs.copy()
    basis = Basis(mesh, skfem.ElementQuad2())
    for corners, nodes in (
        (mesh.facets, basis.facet_dofs[0]),
        (mesh.t, basis.interior_dofs[0]),
    ):
        radius = np.hypot(*mesh.p[:, corners])
        on = radius.min(axis=0) > beyond
        middle = x[:, nodes[on]]
        x[:, nodes[on]] = middle / np.hypot(*middle) * radius[:, on].mean(axis=0)
    return replace(fine, doflocs=x)


@dataclass(frozen=True)
class DiscCase:
    """A disc under a coaxial cylinder magnet of the same radius; lengths in metres, J in tesla.

    The disc's upper face is z = 0 and the magnet's lower face z = gap.
    """

    gap: float
    radius: float = 0.030
    thickness: float = 0.010
    magnet_length: float = 0.030
    polarisation: float = 1.3
    iron: Iron = GREY_IRON

    def mesh(self, n: int) -> skfem.MeshQuad:
        """(r, z) grid with lines along every face."""
        inner = self.radius * (1.0 - np.linspace(1.0, 0.0, 2 * n + 1) ** 3)
        r = np.concatenate([inner, self.radius + outward(self.radius, FAR, 3 * n)[1:]])
        z = join(
            toward_both(self.thickness, n), toward_both(self.gap, n),
            toward_both(self.magnet_length, n), start=-self.thickness,
        )  # fmt: skip
        return skfem.MeshQuad.init_tensor(r, both_ways(z, self.radius, FAR, 3 * n))

    def in_disc(self, x: Array) -> Array:
        """Whether (r, z) lies in the disc."""
        return (x[0] < self.radius) & (x[1] < 0.0) & (x[1] > -self.thickness)

    def in_magnet(self, x: Array) -> Array:
        """Whether (r, z) lies in the magnet."""
        return (x[0] < self.radius) & (x[1] > self.gap) & (x[1] < self.gap + self.magnet_length)

    def magnet_field(self, x: Array) -> Array:
        """The magnet's own (H_r, H_z) at (2, ...) points, from magpylib."""
        magnet = magpylib.magnet.Cylinder(
            polarization=(0, 0, self.polarisation),
            dimension=(2 * self.radius, self.magnet_length),
            position=(0, 0, self.gap + self.magnet_length / 2),
        )
        points = np.stack([x[0], np.zeros_like(x[0]), x[1]], axis=-1).reshape(-1, 3)
        return magnet.getH(points)[:, [0, 2]].T.reshape(x.shape)


def solve_disc(case: DiscCase, n: int) -> dict[str, Any]:
    """Energy, force (K and S) and mean polarisation of one disc case on one mesh."""
    began = time.perf_counter()
    p = axisymmetric(case.mesh(n), case.in_disc, case.iron)
    middle = p.basis.mesh.p[:, p.basis.mesh.t].mean(axis=1)
    magnet = p.basis.with_elements(np.flatnonzero(case.in_magnet(middle)))
    load = LinearForm(lambda v, w: ring_weight(w.x) * grad(v)[1]).assemble(magnet)
    p = replace(p, load=case.polarisation / MU_0 * load)
    alone, _ = minimise(replace(p, iron=Iron(0.0)))
    u, steps = minimise(p)
    energy = functional(replace(p, iron=Iron(0.0)), alone) - functional(p, u)
    m, volume = magnetisation(p, u), iron_volume(p)
    x = p.iron_basis.global_coordinates()
    step = np.array([0.0, 1e-5])[:, None, None]
    slope = (case.magnet_field(x + step) - case.magnet_field(x - step)) / 2e-5
    return {
        "n": n, "unknowns": len(p.free), "newton_steps": steps,
        "seconds": round(time.perf_counter() - began, 1),
        "energy_J": energy,
        "force_kelvin_N": [0.0, 0.0, MU_0 * float((volume * (m * slope).sum(0)).sum())],
        "force_stress_N": [0.0, 0.0, disc_stress(case, p, u)],
        "mean_polarisation_T": [0.0, 0.0, MU_0 * float((volume * m[1]).sum() / volume.sum())],
    }  # fmt: skip


def disc_stress(case: DiscCase, p: Problem, u: Array) -> float:
    """Axial force from Maxwell's stress in the air about the disc [N]."""
    away = np.maximum.reduce(
        [p.basis.doflocs[0] - case.radius, p.basis.doflocs[1], -case.thickness - p.basis.doflocs[1]]
    )
    g = np.clip((0.9 * case.gap - away) / (0.8 * case.gap), 0.0, 1.0)

    def stress(w: Any) -> Array:
        h, slope = grad(w["u"]), grad(w["g"])
        return ring_weight(w.x) * (h[1] * dot(h, slope) - 0.5 * dot(h, h) * slope[1])

    air = p.basis.with_elements(
        np.flatnonzero(~case.in_disc(p.basis.mesh.p[:, p.basis.mesh.t].mean(axis=1)))
    )
    total = Functional(stress).assemble(air, u=air.interpolate(u), g=air.interpolate(g))
    return -MU_0 * float(total)


# --- three dimensions ---------------------------------------------------------------------------


@dataclass(frozen=True)
class TensorSolver:
    """Conjugate gradients, preconditioned with the exact inverse of the grid's Laplacian.

    `modes` are the generalised eigenvectors of each axis (k_i, k_i) on its free points, `inverse`
    the reciprocal eigenvalues (k_x, k_y, k_z), `order` the free unknowns in the grid's own order,
    in which a product with the matrix takes a third of the time.
    """

    modes: tuple[Array, Array, Array]
    inverse: Array
    order: Array
    tolerance: float = 1e-6

    def precondition(self, r: Array) -> Array:
        """Solve the Laplacian for the right side `r`, grid order."""
        a, b, c = self.modes
        x, y, z = self.inverse.shape
        t = (a.T @ r.reshape(x, y * z)).reshape(x, y, z)
        t = np.matmul(np.matmul(b.T, t), c) * self.inverse
        t = np.matmul(np.matmul(b, t), c.T)
        return (a @ t.reshape(x, y * z)).ravel()

    def __call__(self, a: sp.csr_matrix, b: Array) -> Array:
        m = LinearOperator(a.shape, matvec=self.precondition, dtype=float)
        ordered = a[self.order][:, self.order]
        found, failed = cg(ordered, b[self.order], rtol=self.tolerance, M=m, maxiter=3000)
        if failed:
            raise RuntimeError("conjugate gradients did not converge")
        x = np.empty_like(found)
        x[self.order] = found
        return x


def line_matrices(points: Array) -> tuple[Array, Array, Array]:
    """Sorted nodes (k,), stiffness and mass (k, k) of quadratic elements on one axis."""
    basis = Basis(skfem.MeshLine(points), skfem.ElementLineP2(), intorder=4)
    order = np.argsort(basis.doflocs[0])
    stiffness = BilinearForm(lambda u, v, w: dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, w: u * v).assemble(basis)
    pick = np.ix_(order, order)
    return basis.doflocs[0][order], stiffness.toarray()[pick], mass.toarray()[pick]


def tensor_laplacian(axes: list[Array], basis: Basis) -> tuple[sp.csr_matrix, Array, TensorSolver]:
    """Stiffness in the basis's own order, its free unknowns, and the solver for them.

    The outer boundary is held at 0 but for the mirror plane, which is where the y axis begins.
    """
    nodes, k, m = zip(*(line_matrices(a) for a in axes), strict=True)
    place = [nearest(q, x) for q, x in zip(nodes, basis.doflocs, strict=True)]
    sizes = tuple(len(q) for q in nodes)
    number = np.ravel_multi_index(place, sizes)
    first = (1, 0, 1)
    free = np.ones(basis.N, dtype=bool)
    for q, low, size in zip(place, first, sizes, strict=True):
        free &= (q >= low) & (q < size - 1)
    kept = [slice(low, -1) for low in first]
    pairs = [scipy.linalg.eigh(a[c, c], b[c, c]) for a, b, c in zip(k, m, kept, strict=True)]
    (a, u), (b, v), (c, w) = pairs
    inverse = 1.0 / (a[:, None, None] + b[None, :, None] + c[None, None, :])
    order = np.ravel_multi_index(
        [q[free] - low for q, low in zip(place, first, strict=True)], inverse.shape
    )
    grid = kronecker_laplacian([sp.csr_matrix(a) for a in k], [sp.csr_matrix(a) for a in m])
    return (
        grid[number][:, number],
        np.flatnonzero(free),
        TensorSolver((u, v, w), inverse, np.argsort(order)),
    )


def kronecker_laplacian(k: list[sp.csr_matrix], m: list[sp.csr_matrix]) -> sp.csr_matrix:
    """Three-dimensional stiffness from each axis's stiffness `k` and mass `m`."""
    return (
        sp.kron(sp.kron(k[0], m[1]), m[2])
        + sp.kron(sp.kron(m[0], k[1]), m[2])
        + sp.kron(sp.kron(m[0], m[1]), k[2])
    ).tocsr()


def nearest(grid: Array, x: Array) -> Array:
    """Number of the grid point nearest to each of x; `grid` ascends."""
    middle = 0.5 * (grid[1:] + grid[:-1])
    return np.searchsorted(middle, x)


def box_problem(size: Array, iron: Iron, n: int) -> Problem:
    """A box of iron (edges `size` [m]) centred at the origin, mirror plane y = 0, no source yet.

    n cells along half of each edge.
    """
    axes = []
    for axis, edge in enumerate(size):
        inner = toward_both(edge, n) - edge / 2
        grid = both_ways(inner, size.max() / 2, FAR_BOX, 3 * n)
        axes.append(grid[grid > -1e-12] if axis == 1 else grid)
    axes[1][0] = 0.0
    mesh = skfem.MeshHex.init_tensor(*axes)
    basis = Basis(mesh, skfem.ElementHex2(), intorder=5)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    inside = np.all(np.abs(middle) < np.asarray(size)[:, None] / 2, axis=0)
    part = Basis(mesh, skfem.ElementHex2(), intorder=7, elements=np.flatnonzero(inside))
    stiffness, free, solver = tensor_laplacian(axes, basis)
    zero = np.zeros(basis.N)
    return Problem(
        basis, part, iron, lambda x: 2.0 + 0.0 * x[0], 2.0 * stiffness, zero, zero, free,
        solver,
    )  # fmt: skip


@dataclass(frozen=True)
class BarCase:
    """A bar near a block magnet; lengths in metres, J along +z in tesla, tilt in degrees.

    The magnet's lower face is z = 0, centred on the z axis. The bar's centre is at `centre`, and
    the bar is turned by `tilt` about the y axis from lying along x (right-handed).
    """

    centre: tuple[float, float, float]
    tilt: float
    bar: tuple[float, float, float] = (0.060, 0.020, 0.010)
    magnet: tuple[float, float, float] = (0.060, 0.040, 0.020)
    polarisation: float = 1.3
    iron: Iron = GREY_IRON

    @property
    def turn(self) -> Array:
        """Bar to world (3, 3)."""
        c, s = np.cos(np.radians(self.tilt)), np.sin(np.radians(self.tilt))
        return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])

    def to_world(self, x: Array) -> Array:
        """World positions (points, 3) of bar positions (3, ...)."""
        return x.reshape(3, -1).T @ self.turn.T + self.centre

    def magnet_field(self, world: Array) -> Array:
        """The magnet's own H at world points (points, 3) [A/m], from magpylib."""
        magnet = magpylib.magnet.Cuboid(
            polarization=(0, 0, self.polarisation),
            dimension=self.magnet,
            position=(0, 0, self.magnet[2] / 2),
        )
        return magnet.getH(world)

    def magnet_potential(self, world: Array) -> Array:
        """The magnet's own potential [A] at world points (points, 3): two charged rectangles."""
        x, y, z = world.T
        half = self.polarisation / MU_0 / (4 * np.pi)
        return half * (
            rectangle_potential(x, y, z - self.magnet[2], self.magnet)
            - rectangle_potential(x, y, z, self.magnet)
        )


def rectangle_potential(x: Array, y: Array, z: Array, size: Any) -> Array:
    """Integral of dS/distance over a rectangle in z = 0 centred at the origin [m].

    O. D. Kellogg, Foundations of Potential Theory (1929), from memory; its gradient is checked
    against magpylib when this script runs.
    """
    total = np.zeros_like(x)
    for i in (-1, 1):
        for j in (-1, 1):
            u, v = i * size[0] / 2 - x, j * size[1] / 2 - y
            r = np.sqrt(u**2 + v**2 + z**2)
            total += i * j * (
                u * np.log(v + r) + v * np.log(u + r) - z * np.arctan(u * v / (z * r))
            )  # fmt: skip
    return total


def solve_bar(case: BarCase, n: int) -> dict[str, Any]:
    """Energy, force and torque (K and S) and mean polarisation of one bar case on one mesh."""
    began = time.perf_counter()
    p = box_problem(np.array(case.bar), case.iron, n)
    source = np.zeros(p.basis.N)
    nodes = np.unique(p.iron_basis.element_dofs)
    source[nodes] = case.magnet_potential(case.to_world(p.basis.doflocs[:, nodes]))
    p = replace(p, source=source)
    u, steps = minimise(p)
    m, volume = magnetisation(p, u), iron_volume(p)
    force, torque = kelvin(case, p, m, volume)
    shell_force, shell_torque = bar_stress(case, p, u)
    mean = MU_0 * (volume * m).sum((1, 2)) / volume.sum()
    mean[1] = 0.0
    return {
        "n": n, "unknowns": len(p.free), "newton_steps": steps,
        "seconds": round(time.perf_counter() - began, 1),
        "energy_J": -functional(p, u),
        "force_kelvin_N": force.tolist(), "force_stress_N": shell_force.tolist(),
        "torque_kelvin_Nm": torque.tolist(), "torque_stress_Nm": shell_torque.tolist(),
        "mean_polarisation_T": (case.turn @ mean).tolist(),
    }  # fmt: skip


def kelvin(case: BarCase, p: Problem, m: Array, volume: Array) -> tuple[Array, Array]:
    """Force [N] and torque about the centre [N m] on the iron, world axes, volume formula."""
    world = case.to_world(p.iron_basis.global_coordinates())
    moment = MU_0 * (volume.ravel() * m.reshape(3, -1)).T @ case.turn.T
    step = 1e-5
    density = np.stack(
        [
            ((case.magnet_field(world + d) - case.magnet_field(world - d)) * moment).sum(1)
            for d in step * np.eye(3)
        ],
        axis=1,
    ) / (2 * step)
    turning = np.cross(world - case.centre, density) + np.cross(moment, case.magnet_field(world))
    keep = np.array([1.0, 0.0, 1.0])  # the half beyond the mirror plane cancels F_y, T_x and T_z
    return density.sum(0) * keep, turning.sum(0) * (1.0 - keep)


def bar_stress(case: BarCase, p: Problem, u: Array) -> tuple[Array, Array]:
    """Force [N] and torque about the centre [N m], world axes, from the stress in the air."""
    half = np.array(case.bar)[:, None] / 2
    away = (np.abs(p.basis.doflocs) - half).max(axis=0)
    thick = 0.8 * case_clearance(case)
    g = np.clip((thick - away) / (0.9 * thick), 0.0, 1.0)
    near = np.flatnonzero(np.ptp(g[p.basis.element_dofs], axis=0) > 0)
    shell = p.basis.with_elements(near)
    x = shell.global_coordinates()
    world = case.to_world(x)
    own = (case.magnet_field(world) @ case.turn).T.reshape(x.shape)
    h = own - shell.interpolate(u).grad
    slope = shell.interpolate(g).grad
    pull = h * (h * slope).sum(0) - 0.5 * (h**2).sum(0) * slope
    density = -MU_0 * (2.0 * shell.dx * pull).reshape(3, -1).T @ case.turn.T
    turning = np.cross(world - case.centre, density)
    keep = np.array([1.0, 0.0, 1.0])
    return density.sum(0) * keep, turning.sum(0) * (1.0 - keep)


def case_clearance(case: BarCase) -> float:
    """How far a box about the bar may grow on every side before it touches the magnet's plane."""
    half = np.abs(case.turn[2]) * np.array(case.bar) / 2
    top = case.centre[2] + half.sum()
    return float(-top / np.abs(case.turn[2]).sum())


# --- checks of the method against exact results -------------------------------------------------


def check_sphere(n: int) -> list[dict[str, Any]]:
    """A nonlinear sphere is uniformly magnetised: H + M(H)/3 = H0, a quadratic for this curve."""
    found = []
    for applied in (3e5, 6e5):
        iron = Iron(1000.0, 1.7e6)
        b = 1.0 + iron.chi / 3.0 - iron.chi * applied / iron.saturation
        c = iron.chi / iron.saturation
        inside = (-b + np.sqrt(b**2 + 4 * c * applied)) / (2 * c)
        mesh = half_disc(n, 0.01)
        p = axisymmetric(mesh, lambda x: np.hypot(*x) < 0.01, iron)
        p = replace(p, source=-applied * p.basis.doflocs[1])
        u, _ = minimise(p)
        m, volume = magnetisation(p, u), iron_volume(p)
        found.append(
            compared(
                f"sphere, chi = 1000, Ms = 1.7 MA/m, in {applied:g} A/m: mean M [A/m]",
                float((volume * m[1]).sum() / volume.sum()),
                float(iron.secant(inside) * inside),
                "exact: H + M/3 = H0 (any text on demagnetising factors of ellipsoids)",
            )
        )
    return found


def check_cylinder(n: int) -> list[dict[str, Any]]:
    """Axial magnetometric factor N_m = 1/alpha - 1/chi of cylinders, chi = 99."""
    found = []
    for ratio, expected in ((0.2, 0.621246), (1.0, 0.260055)):
        case = DiscCase(gap=0.02, thickness=0.06 * ratio, iron=Iron(99.0))
        p = axisymmetric(case.mesh(n), case.in_disc, case.iron)
        p = replace(p, source=-1.0 * p.basis.doflocs[1])
        u, _ = minimise(p)
        m, volume = magnetisation(p, u), iron_volume(p)
        alpha = float((volume * m[1]).sum() / volume.sum())
        found.append(
            compared(
                f"cylinder L/D = {ratio}, chi = 99, axial: N_m = 1/alpha - 1/chi",
                1 / alpha - 1 / 99.0,
                expected,
                "boundary-integral solution converged to 1e-6, of the kind tabulated by D.-X. "
                "Chen, J. A. Brug, R. B. Goldfarb, IEEE Trans. Magn. 27, 3601 (1991)",
            )
        )
    return found


def check_cube(levels: tuple[int, ...]) -> list[dict[str, Any]]:
    """Polarisability of a cube: mean M over H0, field along an edge, extrapolated."""
    published = (
        "1/alpha = 1/3.6442 + 1/chi at large chi, 3.6442 from A. Sihvola, P. Yla-Oijala, S. "
        "Jarvenpaa, J. Avelin, IEEE Trans. Antennas Propag. 52, 2226 (2004), from memory"
    )
    found = []
    for chi, expected, source in (
        (99.0, 3.49671, "independent panel method converged to 3e-5"),
        (1e4, 1.0 / (1.0 / 3.6442 + 1e-4), published),
    ):
        alpha = [cube_polarisability(chi, n) for n in levels]
        limit = extrapolate(levels, alpha, rate(levels, alpha))
        found.append(compared(f"cube, chi = {chi:g}: alpha, extrapolated", limit, expected, source))
    return found


def cube_polarisability(chi: float, n: int) -> float:
    """Mean M over H0 of a linear cube on one mesh."""
    p = box_problem(np.full(3, 0.02), Iron(chi), n)
    p = replace(p, source=-1.0 * p.basis.doflocs[2])
    u, _ = minimise(p)
    m, volume = magnetisation(p, u), iron_volume(p)
    return float((volume * m[2]).sum() / volume.sum())


def check_potential() -> list[dict[str, Any]]:
    """The drop of the magnet's closed-form potential is the line integral of magpylib's field.

    Forty straight lines between corners of the tilted bar's surroundings, Gauss-Legendre.
    """
    case = BarCase((0.010, 0.0, -0.035), 30.0)
    rng = np.random.default_rng(1)
    box = 0.6 * np.array(case.bar)[:, None]
    a, b = (case.to_world(rng.uniform(-1.0, 1.0, (3, 40)) * box) for _ in range(2))
    t, w = np.polynomial.legendre.leggauss(60)
    along = a + 0.5 * (1.0 + t)[:, None, None] * (b - a)
    field = case.magnet_field(along.reshape(-1, 3)).reshape(along.shape)
    integral = 0.5 * np.einsum("t,tpi,pi->p", w, field, b - a)
    drop = case.magnet_potential(a) - case.magnet_potential(b)
    worst = float(np.abs(drop - integral).max() / np.abs(integral).max())
    what = "block magnet: 1 + worst error of its potential's drop"
    return [compared(what, 1.0 + worst, 1.0, "line integral of the field from magpylib")]


def compared(what: str, computed: float, expected: float, source: str) -> dict[str, Any]:
    """One row of the table of checks."""
    return {
        "what": what, "computed": computed, "expected": expected,
        "relative_error": computed / expected - 1.0, "source": source,
    }  # fmt: skip


# --- cases, refinement, record ------------------------------------------------------------------

LEVELS = {"disc": (8, 12, 18), "bar": (2, 3, 4, 5)}
CASES: dict[str, DiscCase | BarCase] = {
    "disc_5mm": DiscCase(gap=0.005),
    "disc_20mm": DiscCase(gap=0.020),
    "bar_tilted": BarCase(centre=(0.010, 0.0, -0.035), tilt=30.0),
    "bar_steep": BarCase(centre=(0.010, 0.0, -0.035), tilt=60.0),
    "bar_slender": BarCase(centre=(0.020, 0.0, -0.032), tilt=75.0, bar=(0.060, 0.010, 0.006)),
}
CHECKS: dict[str, Callable[[], list[dict[str, Any]]]] = {
    "potential": check_potential,
    "sphere": lambda: check_sphere(12),
    "cylinder": lambda: check_cylinder(12),
    "cube": lambda: check_cube((2, 3, 4)),
}


def solve(name: str, n: int) -> dict[str, Any]:
    """One case on one mesh."""
    case = CASES[name]
    return solve_disc(case, n) if isinstance(case, DiscCase) else solve_bar(case, n)


def rate(levels: tuple[int, ...], values: list[float]) -> float:
    """k of an error c / n^k, from the three finest meshes; between 1 and 6."""
    n, v = np.array(levels[-3:], dtype=float), values[-3:]
    wanted = (v[0] - v[1]) / (v[1] - v[2])
    trial = np.linspace(1.0, 6.0, 501)
    a, b, c = (size**-trial for size in n)
    return float(trial[np.argmin(np.abs((a - b) / (b - c) - wanted))])


def extrapolate(levels: tuple[int, ...], values: Any, k: float) -> Any:
    """Limit of the two finest `values` when the error is c / n^k."""
    coarse, fine = np.asarray(values[-2]), np.asarray(values[-1])
    limit = fine + (fine - coarse) / ((levels[-1] / levels[-2]) ** k - 1.0)
    return limit.tolist()


def limits(levels: tuple[int, ...], rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Extrapolated results of a case, each with its error (a length for vectors)."""
    k = rate(levels, [row["energy_J"] for row in rows])
    found: dict[str, Any] = {"rate": k}
    for name, key, second in (
        ("energy_J", "energy_J", None),
        ("force_N", "force_kelvin_N", "force_stress_N"),
        ("torque_Nm", "torque_kelvin_Nm", "torque_stress_Nm"),
        ("mean_polarisation_T", "mean_polarisation_T", None),
    ):
        if key not in rows[-1]:
            continue
        limit = extrapolate(levels, [row[key] for row in rows], k)
        error = np.linalg.norm(np.atleast_1d(np.subtract(limit, rows[-1][key])))
        if second:
            error += np.linalg.norm(np.subtract(rows[-1][key], rows[-1][second]))
        found[name] = {"value": limit, "error": float(error)}
    return found


def described(case: DiscCase | BarCase) -> dict[str, Any]:
    """The case's lengths [m], angle [deg] and polarisation [T]."""
    return {k: v for k, v in asdict(case).items() if k != "iron"}


def main() -> None:
    """Solve what was asked for and bring the record up to date."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", choices=[*CHECKS, *CASES], help="one check or case")
    chosen = parser.parse_args().only
    record = json.loads(RECORD.read_text()) if RECORD.exists() else {"checks": {}, "cases": {}}
    record["versions"] = {m.__name__: m.__version__ for m in (skfem, np, scipy, magpylib)}
    record["iron"] = {"susceptibility": GREY_IRON.chi, "saturation_T": 1.6}
    for name, check in CHECKS.items():
        if chosen in (None, name):
            record["checks"][name] = check()
    for name, case in CASES.items():
        if chosen in (None, name):
            levels = LEVELS[name.split("_")[0]]
            rows = [solve(name, n) for n in levels]
            record["cases"][name] = {
                "case": described(case), "levels": rows, "result": limits(levels, rows),
            }  # fmt: skip
        RECORD.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
