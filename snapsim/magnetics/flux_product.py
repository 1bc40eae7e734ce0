"""The sums over all parts that a step toward the least energy of `joint_fluxes` is made of.

Symbols as in `flux_part` and `joint_fluxes`; vectors of all n parts lie one after another, so one
call serves however many there are. P between outer and inner faces is kept in float32, as charges
on these are small; all sums are in float64. With the rest in float32 too, energies were 1e-9 off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import sparse

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.anhysteretic import CurveSet, crossing, state_at
from snapsim.magnetics.charged_faces import add_to_cells, charge
from snapsim.magnetics.demagnetization import from_classes, to_classes
from snapsim.magnetics.flux_part import FluxPart
from snapsim.magnetics.symmetric_blocks import Buffer
from snapsim.numerics.compilation import bare, compiled, summing


class SparseRows(NamedTuple):
    """A matrix by rows: row i has `value`s [start[i]:start[i + 1]] in those `column`s."""

    value: Array
    column: IntArray
    start: IntArray


class FluxSet(NamedTuple):
    """The n parts: unknowns, cells, base cells, outer and inner faces of part i from `unknown[i]`,
    `cell[i]` and so on to the next; `images` (n,) g, `signs` (n, 8, 3) and `characters` (n, 8, 8).

    `surface`, `mean` and `widen` X, T, W with rows by part and class; `layer`, `pull` L and R flat,
    those of part i from `layer_at[i]` and `pull_at[i]`; `inverse` that of class k from
    `inverse_at[i, k]`, its unknowns from `class_at[i, k]`. `outer_cell`, `outer_normal`,
    `inner_cell`, `inner_normal` as in `ChargedFaces`, `outer_nodes`, `inner_nodes` (f, k) U of
    `distant_charges`.
    """

    unknown: IntArray
    cell: IntArray
    base: IntArray
    outer: IntArray
    inner: IntArray
    images: IntArray
    signs: Array
    characters: Array
    volume: Array
    stiff: Array
    surface: SparseRows
    mean: SparseRows
    widen: SparseRows
    layer: Array
    layer_at: IntArray
    pull: Array
    pull_at: IntArray
    inverse: Buffer
    inverse_at: IntArray
    class_at: IntArray
    outer_cell: IntArray
    outer_normal: Array
    inner_cell: IntArray
    inner_normal: Array
    outer_nodes: Array
    inner_nodes: Array


class CrossSet(NamedTuple):
    """P between parts in one pose: pair k joins parts pairs[k], the first named first.

    `start[k, 0..2]` says where they begin, row after row, -1 for none: outer on outer in `outer`,
    inner of the first on outer and outer on inner of the second in `mixed` (float32). `kernel` has
    likewise K over the nodes of parts far apart, from `kernel_at[k, 0..2]` on.
    """

    pairs: IntArray
    outer: Array
    mixed: Buffer
    start: IntArray
    kernel: Array
    kernel_at: IntArray


class FluxPoint(NamedTuple):
    """What fluxes make: `placed` s on outer faces, M and u = m - M (c, 3), `wide` d by class; the
    energy's `slope`; and of M its rise `along` and `across` `beta` (c, 3)."""

    placed: Array
    m: Array
    u: Array
    wide: Array
    slope: Array
    beta: Array
    along: Array
    across: Array


def flux_set(parts: Sequence[FluxPart]) -> FluxSet:
    """Return the parts packed."""
    g = np.array([len(p.signs) for p in parts])
    cell = _starts([len(p.volume) for p in parts])
    signs, characters = np.zeros((len(parts), 8, 3)), np.zeros((len(parts), 8, 8))
    inverse_at, class_at = np.zeros((len(parts), 9), np.int64), np.zeros((len(parts), 9), np.int64)
    unknown, filled = _starts([int(p.starts[-1]) for p in parts]), 0
    for i, p in enumerate(parts):
        signs[i, : g[i]], characters[i, : g[i], : g[i]] = p.signs, p.characters
        inverse_at[i, : g[i] + 1] = filled + _starts([b.size for b in p.inverse])
        class_at[i, : g[i] + 1] = unknown[i] + p.starts
        filled = int(inverse_at[i, g[i]])
    return FluxSet(
        unknown=unknown,
        cell=cell,
        base=_starts([len(p.stiff) for p in parts]),
        outer=_starts([len(p.outer.cell) for p in parts]),
        inner=_starts([len(p.inner.cell) for p in parts]),
        images=g,
        signs=signs,
        characters=characters,
        volume=np.concatenate([p.volume for p in parts]),
        stiff=np.concatenate([p.stiff for p in parts]),
        surface=_rows([p.surface for p in parts]),
        mean=_rows([p.mean for p in parts]),
        widen=_rows([p.widen for p in parts]),
        layer=np.concatenate([p.layer.ravel() for p in parts]),
        layer_at=_starts([p.layer.size for p in parts]),
        pull=np.concatenate([p.pull.ravel() for p in parts]),
        pull_at=_starts([p.pull.size for p in parts]),
        inverse=np.concatenate([b.ravel() for p in parts for b in p.inverse]),
        inverse_at=inverse_at,
        class_at=class_at,
        outer_cell=np.concatenate([p.outer.cell + c for p, c in zip(parts, cell, strict=False)]),
        outer_normal=np.concatenate([p.outer.outward for p in parts]),
        inner_cell=np.concatenate([p.inner.cell + c for p, c in zip(parts, cell, strict=False)]),
        inner_normal=np.concatenate([p.inner.outward for p in parts]),
        outer_nodes=np.concatenate([p.outer.packed.nodes.gather for p in parts]),
        inner_nodes=np.concatenate([p.inner.packed.nodes.gather for p in parts]),
    )


def _starts(sizes: Sequence[int]) -> IntArray:
    return np.cumsum([0, *sizes], dtype=np.int64)


def _rows(blocks: Sequence[sparse.csr_array]) -> SparseRows:
    whole = sparse.block_diag(blocks, format="csr")
    return SparseRows(
        whole.data.astype(np.float64), whole.indices.astype(np.int64),
        whole.indptr.astype(np.int64),
    )  # fmt: skip


@summing
def _row_products(matrix: Buffer, x: Array, y: Array) -> None:
    """Add the matrix (f, g) times `x` (g,) to `y` (f,)."""
    for i in range(matrix.shape[0]):
        row, total = matrix[i], 0.0
        for j in range(matrix.shape[1]):
            total += row[j] * x[j]
        y[i] += total


@summing
def _column_products(matrix: Buffer, x: Array, y: Array) -> None:
    """Add the transpose of the matrix (f, g) times `x` (f,) to `y` (g,)."""
    rows = matrix.shape[0]
    for i in range(0, rows - 1, 2):
        one, other, a, b = matrix[i], matrix[i + 1], x[i], x[i + 1]
        for j in range(matrix.shape[1]):
            y[j] += a * one[j] + b * other[j]
    if rows % 2 == 1:
        last, a = matrix[rows - 1], x[rows - 1]
        for j in range(matrix.shape[1]):
            y[j] += a * last[j]


@summing
def _both_products(matrix: Buffer, x: Array, y: Array, u: Array, v: Array) -> None:
    """Add the matrix times `y` to `u` (f,) and its transpose times `x` to `v` (g,)."""
    for i in range(matrix.shape[0]):
        row, total, share = matrix[i], 0.0, x[i]
        for j in range(matrix.shape[1]):
            total += row[j] * y[j]
            v[j] += share * row[j]
        u[i] += total


@bare
def _sparse_product(rows: SparseRows, x: Array, y: Array) -> None:
    """Set `y` to the matrix times `x`."""
    for i in range(len(y)):
        total = 0.0
        for k in range(rows.start[i], rows.start[i + 1]):
            total += rows.value[k] * x[rows.column[k]]
        y[i] = total


@bare
def _sparse_transposed(rows: SparseRows, x: Array, y: Array) -> None:
    """Add the transpose times `x` to `y`."""
    for i in range(len(x)):
        for k in range(rows.start[i], rows.start[i + 1]):
            y[rows.column[k]] += rows.value[k] * x[i]


@bare
def _mixed(characters: Array, x: Array, y: Array) -> None:
    """Set `y` (g, k) to the characters times `x` (g, k)."""
    for r in range(len(x)):
        for j in range(x.shape[1]):
            y[r, j] = 0.0
        for s in range(len(x)):
            for j in range(x.shape[1]):
                y[r, j] += characters[r, s] * x[s, j]


@compiled
def _between_nodes(
    cross: CrossSet, which: int, x: Array, y: Array, a: int, b: int, pair: int
) -> None:
    """Add what node charges `x` (n, k) of part b make at the nodes of part a to `y` (n, k)."""
    at = cross.kernel_at[pair, which]
    if at < 0:
        return
    k = x.shape[1]
    matrix = cross.kernel[at : at + k * k].reshape(k, k)
    if cross.pairs[pair, 0] == a:
        _row_products(matrix, x[b], y[a])
    else:
        _column_products(matrix, x[b], y[a])


@compiled
def _gathered(nodes: Array, first: IntArray, x: Array) -> Array:
    """Charges on nodes (n, k) of charges `x` (f,) of all parts."""
    found = np.zeros((len(first) - 1, nodes.shape[1]))
    for i in range(len(first) - 1):
        one = slice(first[i], first[i + 1])
        _column_products(nodes[one], x[one], found[i])
    return found


@compiled
def _block(flat: Buffer, at: int, rows: int, columns: int) -> Buffer:
    """A matrix of `flat`, which begins there; none where `at` is -1."""
    if at < 0:
        return flat[:0].reshape(0, columns)
    return flat[at : at + rows * columns].reshape(rows, columns)


@compiled
def _own(first: IntArray, part: int, values: Array) -> Array:
    """What of the `values` of all parts belongs to one."""
    return values[first[part] : first[part + 1]]


@compiled
def _blocks(parts: FluxSet, cross: CrossSet, k: int) -> tuple[Array, Buffer, Buffer]:
    """P of pair k: outer on outer, inner of the first on outer, outer on inner of the second."""
    a, b = cross.pairs[k, 0], cross.pairs[k, 1]
    f, g = parts.outer[a + 1] - parts.outer[a], parts.outer[b + 1] - parts.outer[b]
    inner_a, inner_b = parts.inner[a + 1] - parts.inner[a], parts.inner[b + 1] - parts.inner[b]
    return (
        _block(cross.outer, cross.start[k, 0], f, g),
        _block(cross.mixed, cross.start[k, 1], inner_a, g),
        _block(cross.mixed, cross.start[k, 2], f, inner_b),
    )


@compiled
def potentials(parts: FluxSet, cross: CrossSet, s: Array, outer: Array, inner: Array) -> None:
    """Add P s of outer charges `s` (f,) of the other parts to outer and inner faces."""
    for k in range(len(cross.pairs)):
        a, b = cross.pairs[k, 0], cross.pairs[k, 1]
        x, y = _own(parts.outer, a, s), _own(parts.outer, b, s)
        both, first, second = _blocks(parts, cross, k)
        if both.size:
            _both_products(both, x, y, _own(parts.outer, a, outer), _own(parts.outer, b, outer))
        if first.size:
            _row_products(first, y, _own(parts.inner, a, inner))
        if second.size:
            _column_products(second, x, _own(parts.inner, b, inner))
    if len(cross.kernel) == 0:
        return
    gathered = _gathered(parts.outer_nodes, parts.outer, s)
    at_outer, at_inner = np.zeros_like(gathered), np.zeros_like(gathered)
    for k in range(len(cross.pairs)):
        a, b = cross.pairs[k, 0], cross.pairs[k, 1]
        _between_nodes(cross, 0, gathered, at_outer, a, b, k)
        _between_nodes(cross, 0, gathered, at_outer, b, a, k)
        _between_nodes(cross, 1, gathered, at_inner, a, b, k)
        _between_nodes(cross, 2, gathered, at_inner, b, a, k)
    _spread(parts.outer_nodes, parts.outer, at_outer, outer)
    _spread(parts.inner_nodes, parts.inner, at_inner, inner)


@compiled
def _spread(nodes: Array, first: IntArray, at_nodes: Array, potential: Array) -> None:
    """Add what stands at nodes (n, k) to the potential (f,) on all parts' faces."""
    for i in range(len(first) - 1):
        one = slice(first[i], first[i + 1])
        _row_products(nodes[one], at_nodes[i], potential[one])


@compiled
def _potentials_of_rest(
    parts: FluxSet, cross: CrossSet, on_outer: Array, on_inner: Array, outer: Array
) -> None:
    """Add P r of charges r on outer and inner faces of the other parts to outer faces."""
    for k in range(len(cross.pairs)):
        a, b = cross.pairs[k, 0], cross.pairs[k, 1]
        u, v = _own(parts.outer, a, outer), _own(parts.outer, b, outer)
        both, first, second = _blocks(parts, cross, k)
        if both.size:
            _both_products(
                both, _own(parts.outer, a, on_outer), _own(parts.outer, b, on_outer), u, v
            )
        if first.size:
            _column_products(first, _own(parts.inner, a, on_inner), v)
        if second.size:
            _row_products(second, _own(parts.inner, b, on_inner), u)
    if len(cross.kernel) == 0:
        return
    o = _gathered(parts.outer_nodes, parts.outer, on_outer)
    i = _gathered(parts.inner_nodes, parts.inner, on_inner)
    at_outer = np.zeros_like(o)
    for k in range(len(cross.pairs)):
        a, b = cross.pairs[k, 0], cross.pairs[k, 1]
        _between_nodes(cross, 0, o, at_outer, a, b, k)
        _between_nodes(cross, 0, o, at_outer, b, a, k)
        _between_nodes(cross, 1, i, at_outer, b, a, k)
        _between_nodes(cross, 2, i, at_outer, a, b, k)
    _spread(parts.outer_nodes, parts.outer, at_outer, outer)


@compiled
def _fields(
    parts: FluxSet, cross: CrossSet, q: Array
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Return s by class and in place, m (c, 3), d by class, P s on outer faces, v xi (c, 3)."""
    cells = len(parts.volume)
    s, wide, means = np.empty(parts.outer[-1]), np.empty(3 * cells), np.empty(3 * cells)
    _sparse_product(parts.surface, q, s)
    _sparse_product(parts.mean, q, means)
    _sparse_product(parts.widen, q, wide)
    placed, m, xi = np.empty_like(s), np.empty((cells, 3)), np.empty((cells, 3))
    for i in range(len(parts.images)):
        g, base = parts.images[i], 3 * (parts.base[i + 1] - parts.base[i])
        signs, here = parts.signs[i, :g], slice(parts.cell[i], parts.cell[i + 1])
        f = slice(parts.outer[i], parts.outer[i + 1])
        classes = s[f].reshape(g, -1)
        _mixed(parts.characters[i, :g, :g], classes, placed[f].reshape(g, -1))
        from_classes(means[3 * here.start : 3 * here.stop].reshape(g, base), signs, m[here])
        own, size = np.zeros((g, base)), base * classes.shape[1]
        for k in range(g):
            at = parts.pull_at[i] + k * size
            pull = parts.pull[at : at + size].reshape(base, classes.shape[1])
            _row_products(pull, classes[k], own[k])
        from_classes(own, signs, xi[here])
    outer, inner = np.zeros(parts.outer[-1]), np.zeros(parts.inner[-1])
    potentials(parts, cross, placed, outer, inner)
    add_to_cells(parts.outer_cell, parts.outer_normal, -outer, xi)
    add_to_cells(parts.inner_cell, parts.inner_normal, -inner, xi)
    return s, placed, m, wide, outer, xi


@compiled
def rests(parts: FluxSet, u: Array) -> tuple[Array, Array]:
    """Return D u on outer and inner faces of u (c, 3)."""
    outer, inner = np.empty(parts.outer[-1]), np.empty(parts.inner[-1])
    charge(parts.outer_cell, parts.outer_normal, u, outer)
    charge(parts.inner_cell, parts.inner_normal, u, inner)
    return outer, inner


@compiled
def _pulled(
    parts: FluxSet, cross: CrossSet, s: Array, outer: Array, xi: Array, wide: Array, u: Array
) -> Array:
    """Return the slope in q that fields and u = m - M make, but for the load on widenings."""
    on_outer, on_inner = rests(parts, u)
    rest = np.zeros_like(outer)
    _potentials_of_rest(parts, cross, on_outer, on_inner, rest)
    on_charge, on_mean = np.empty(len(outer)), np.empty(3 * len(u))
    for i in range(len(parts.images)):
        g, base = parts.images[i], 3 * (parts.base[i + 1] - parts.base[i])
        signs, f = parts.signs[i, :g], slice(parts.outer[i], parts.outer[i + 1])
        here = slice(parts.cell[i], parts.cell[i + 1])
        classes = s[f].reshape(g, -1)
        count = classes.shape[1]
        at_faces = on_charge[f].reshape(g, count)
        _mixed(parts.characters[i, :g, :g], (outer[f] - rest[f]).reshape(g, count), at_faces)
        each = np.empty((g, base))
        to_classes(u[here], signs, each)
        for k in range(g):
            at = parts.layer_at[i] + k * count * count
            layer = parts.layer[at : at + count * count].reshape(count, count)
            _row_products(layer, classes[k], at_faces[k])
            at = parts.pull_at[i] + k * base * count
            pull = parts.pull[at : at + base * count].reshape(base, count)
            _column_products(pull, each[k], at_faces[k])
        both = xi[here].copy()
        for c in range(len(both)):
            for j in range(3):
                both[c, j] += parts.volume[here.start + c] * u[here.start + c, j]
        to_classes(both, signs, on_mean[3 * here.start : 3 * here.stop].reshape(g, base))
    found = np.zeros(parts.unknown[-1])
    _sparse_transposed(parts.surface, on_charge, found)
    _sparse_transposed(parts.mean, on_mean, found)
    _sparse_transposed(parts.widen, _resisted(parts, wide), found)
    return found


@compiled
def _resisted(parts: FluxSet, wide: Array) -> Array:
    """Return O d."""
    found = np.empty_like(wide)
    for i in range(len(parts.images)):
        base = parts.base[i + 1] - parts.base[i]
        for c in range(parts.cell[i + 1] - parts.cell[i]):
            at, stiff = 3 * (parts.cell[i] + c), parts.stiff[parts.base[i] + c % base]
            for j in range(3):
                total = 0.0
                for k in range(3):
                    total += stiff[j, k] * wide[at + k]
                found[at + j] = total
    return found


@bare
def _summed(a: Array, b: Array) -> float:
    total = 0.0
    for i in range(len(a)):
        total += a[i] * b[i]
    return total


@compiled
def flux_point(
    parts: FluxSet, curves: CurveSet, cross: CrossSet, field: Array, spread: Array, q: Array
) -> tuple[float, Array, Array, Array, Array, Array, Array, Array, Array]:
    """Return the energy and what `FluxPoint` has, for v h (c, 3) and l by class (3c,)."""
    s, placed, mean, wide, outer, xi = _fields(parts, cross, q)
    m, beta = np.empty_like(mean), np.empty_like(mean)
    along, across = np.empty(len(mean)), np.empty(len(mean))
    energy = 0.0
    for c in range(len(mean)):
        for j in range(3):
            beta[c, j] = mean[c, j] + (xi[c, j] + field[c, j]) / parts.volume[c]
            energy += mean[c, j] * (0.5 * parts.volume[c] * mean[c, j] + xi[c, j])
    for i in range(len(parts.images)):
        here = slice(parts.cell[i], parts.cell[i + 1])
        energy -= respond(
            curves, i, parts.volume[here], beta[here], m[here], along[here], across[here]
        )
    resisted = _resisted(parts, wide)
    energy += 0.5 * (_summed(placed, outer) + _summed(wide, resisted)) - _summed(wide, spread)
    for i in range(len(parts.images)):
        g = parts.images[i]
        classes = s[parts.outer[i] : parts.outer[i + 1]].reshape(g, -1)
        count = classes.shape[1]
        for k in range(g):
            at, own = parts.layer_at[i] + k * count * count, np.zeros(count)
            layer = parts.layer[at : at + count * count].reshape(count, count)
            _row_products(layer, classes[k], own)
            energy += 0.5 * _summed(classes[k], own)
    u = mean - m
    slope = _pulled(parts, cross, s, outer, xi, wide, u)
    _sparse_transposed(parts.widen, -spread, slope)
    return energy, placed, m, u, wide, slope, beta, along, across


@compiled
def _curved(
    parts: FluxSet, cross: CrossSet, beta: Array, along: Array, across: Array, step: Array
) -> Array:
    """Return F'' times a step, where M answers as told."""
    s, _placed, u, wide, outer, xi = _fields(parts, cross, step)
    for c in range(len(u)):
        size, radial, v = 0.0, 0.0, parts.volume[c]
        for j in range(3):
            size += beta[c, j] * beta[c, j]
            radial += beta[c, j] * (u[c, j] + xi[c, j] / v)
        radial *= (along[c] - across[c]) / (size if size > 0 else 1.0)
        for j in range(3):
            u[c, j] -= across[c] * (u[c, j] + xi[c, j] / v) + radial * beta[c, j]
    return _pulled(parts, cross, s, outer, xi, wide, u)


@compiled
def precondition(parts: FluxSet, r: Array) -> Array:
    """Return K^-1 r."""
    z = np.zeros_like(r)
    for i in range(len(parts.images)):
        for k in range(parts.images[i]):
            one = slice(parts.class_at[i, k], parts.class_at[i, k + 1])
            size, at = one.stop - one.start, parts.inverse_at[i, k]
            block = parts.inverse[at : at + size * size].reshape(size, size)
            _row_products(block, r[one], z[one])
    return z


@compiled
def newton_step(
    parts: FluxSet, cross: CrossSet, at: FluxPoint, z: Array, enough: float, limit: int
) -> tuple[Array, int]:
    """Return -F''^-1 F' by conjugate gradients, and the products used; `z` is K^-1 F'.

    Ends where the residual's square by K^-1 is down to `enough` of the first, or after `limit`.
    """
    step, p = np.zeros_like(z), -z
    rest = -at.slope
    rz = -_summed(rest, z)
    first = rz
    for used in range(1, limit + 1):
        q = _curved(parts, cross, at.beta, at.along, at.across, p)
        curvature = _summed(p, q)
        if not curvature > 0:
            return (step if used > 1 else p), used
        length = rz / curvature
        for i in range(len(p)):
            step[i] += length * p[i]
            rest[i] -= length * q[i]
        z = precondition(parts, rest)
        new = _summed(rest, z)
        if not new > enough * first:
            return step, used
        for i in range(len(p)):
            p[i] = z[i] + new / rz * p[i]
        rz = new
    return step, limit


@compiled
def respond(
    curves: CurveSet, body: int, volume: Array, beta: Array, m: Array, along: Array, across: Array
) -> float:
    """Set M (c, 3) where M + H(M) = |beta|, its slopes along and across; return sum v g."""
    total = 0.0
    for i in range(len(volume)):
        size = math.sqrt(beta[i, 0] ** 2 + beta[i, 1] ** 2 + beta[i, 2] ** 2)
        h = crossing(curves, body, 1.0, 1.0, size, 0.0)
        strength, rise, coenergy = state_at(curves, body, h)
        along[i] = rise / (1 + rise)
        across[i] = strength / size if size > 0 else along[i]
        for k in range(3):
            m[i, k] = across[i] * beta[i, k]
        # beta m - w - m^2 / 2, w = m h - coenergy and beta = h + m
        total += volume[i] * (0.5 * strength * strength + coenergy)
    return total
