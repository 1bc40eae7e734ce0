"""Several soft parts without charges on inner faces, in one pose: the least of one convex energy.

    E / mu_0 = sum over parts of what `flux_part` says + s_a P s_b - r_a P s_b - s_a P r_b
               + sum v [ w(|M|) - M.h ] - l.d,        r = D (m - M)

over fluxes q and M: P the single layer between the faces of parts a and b (`mutual`), D the
charges of cells on all their faces, inner ones too. It is 1/2 int |b - M|^2 over all space for the
field b, the sum of m and H_s of *all* parts, with H_s averaged over each cell where it meets M, so
it is convex to the accuracy of P. M answers cell by cell: with beta = h + m + xi, xi the mean of
all H_s in a cell, M lies along beta (which is B/mu_0) and M + H(M) = |beta|. What is left is

    F(q) = 1/2 s.L s + m.R s + 1/2 sum v m^2 + 1/2 d.O d - l.d - sum v g(|beta|) + s_a P s_b
           - D m_a P s_b - s_a P D m_b,         g' = M.

Method: Newton's steps by conjugate gradients, preconditioned with each part's own inverse for
linear iron, and a search along the step. Bound: F'' is at least that of linear iron of the largest
susceptibility, so E is above its least by at most 1/2 F'.K^-1 F'; K leaves out what parts do to
one another, so between parts it is an estimate.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.adapted_inverse import PATIENCE, AdaptedInverse, adapted
from snapsim.magnetics.anhysteretic import CurveSet
from snapsim.magnetics.distant_charges import Nodes, gap_between, gap_weight, kernel
from snapsim.magnetics.flux_part import FluxPart
from snapsim.magnetics.flux_product import (
    CrossSet,
    FluxPoint,
    FluxSet,
    flux_point,
    newton_step,
    precondition,
    rests,
)
from snapsim.magnetics.mutual import (
    FINE,
    LEAN,
    FaceSet,
    Interaction,
    Rules,
    interaction,
    nodes_share,
    placed_nodes,
    wrench,
)
from snapsim.magnetics.symmetric_blocks import Buffer

INNER: Final = 200
"""Steps of conjugate gradients in one of Newton's."""

TIGHTER: Final = 1e-2
"""Share of the tolerance that is gone on to: forces err with the root of the energy's error, most
so where a small gap makes fluxes change fast with the pose (two blanks 4 to 40 mm apart: 6e-6 of
the force for 1e-10 of the energy, 8e-7 for 1e-11)."""

SMOOTH: Final = 0.37
SMOOTH_REST: Final = 0.14
"""Gap between nodes (`gap_between`) from which P over them is right to some per cent, enough for
Newton's steps: of charges on outer faces, and of those of m - M, which are smaller."""

LARGE: Final = 200_000
"""Pairs of faces of two parts from which on nodes serve before `distant_charges.ENDS`."""

FAR: Final = 3.0
"""Gap over the larger reach from which on nodes alone count for charges of m - M: their longest
edge is less than two reaches, and `gap_between` at least 1/1.7 of the gap."""

ROUNDING: Final = 1e-13
"""Least share of the energy that a bound is asked for."""

SHORTER: Final = 25
"""Times that a step may be halved."""


@dataclass(frozen=True)
class FluxState:
    """What one pose came to: fluxes `q` of each part, `charges` (f,) on its outer faces, `m` (c, 3)
    its M [A/m], `widening` d by class, `rest` r on its outer and inner faces; E/mu_0 and its bound
    [A^2 m]; the products it took."""

    q: tuple[Array, ...]
    charges: tuple[Array, ...]
    m: tuple[Array, ...]
    widening: tuple[Array, ...]
    rest: tuple[tuple[Array, Array], ...]
    energy: float
    bound: float
    products: int
    converged: bool
    inverse: AdaptedInverse | None = field(default=None, repr=False)


@dataclass(frozen=True)
class CrossLayer:
    """P between two parts: outer on outer, inner of the first on outer, outer on inner."""

    both: Interaction
    inner_first: Interaction
    inner_second: Interaction

    def wrench(self, a: FluxState, i: int, j: int) -> Array:
        """Return force [N] and torque [N m] about the first's centre on it (6,), its axes."""
        s, t = a.charges[i], a.charges[j]
        (ro, ri), (to, ti) = a.rest[i], a.rest[j]
        found = wrench(self.both, s - ro, t) - wrench(self.both, s, to)
        found -= wrench(self.inner_first, ri, t)
        found -= wrench(self.inner_second, s, ti)
        return found


def cross_layers(
    parts: Sequence[FluxPart], places: Mapping[tuple[int, int], tuple[Array, Array]]
) -> tuple[dict[tuple[int, int], CrossLayer], CrossSet, CrossSet]:
    """Return P of each two parts, all of it packed, and packed in short for Newton's steps: by the
    nodes alone wherever these tell enough.

    `places` says by pair how axes of the second lie in the first's: x_a = rotation x_b + shift.
    """
    pairs = np.array(list(places), dtype=np.int64)
    every = [_faces_of(parts[a], parts[b], *place) for (a, b), place in places.items()]
    sizes = np.array([[faces.size for faces in three] for three in every])
    outer, mixed = np.empty(sizes[:, 0].sum()), np.empty(sizes[:, 1:].sum(), dtype=np.float32)
    layers, filled = {}, [0, 0]
    start = np.full((len(every), 3), -1, dtype=np.int64)
    kernels, short = _Kernels(len(every)), _Kernels(len(every))
    in_short = start.copy()
    for k, (pair, three) in enumerate(zip(places, every, strict=True)):
        found = []
        for which, faces in enumerate(three):
            flat, at = (mixed, filled[1]) if which else (outer, filled[0])
            out = flat[at : at + faces.size].reshape(faces.shape)
            layer = faces.interaction(*places[pair], out)
            if faces.size:
                start[k, which] = at
                filled[min(which, 1)] += faces.size
            if faces.is_smooth:
                short.add(k, which, kernel(layer.a.nodes.place, layer.b.nodes.place))
            else:
                in_short[k, which] = start[k, which]
                if layer.share > 0:
                    short.add(k, which, layer.share * layer.kernel)
            if layer.share > 0:
                layer = replace(layer, potential=out.copy())
                out *= out.dtype.type(1 - layer.share)
                kernels.add(k, which, layer.share * layer.kernel)
            found.append(layer)
        layers[pair] = CrossLayer(*found)
    whole = CrossSet(pairs, outer, mixed, start, *kernels.packed())
    return layers, whole, CrossSet(pairs, outer, mixed, in_short, *short.packed())


class _Kernels:
    """K of pairs, packed one after another."""

    def __init__(self, pairs: int) -> None:
        self._flat, self._filled = [np.empty(0)], 0
        self._at = np.full((pairs, 3), -1, dtype=np.int64)

    def add(self, pair: int, which: int, block: Array) -> None:
        """Put another one."""
        self._at[pair, which] = self._filled
        self._flat.append(block.ravel())
        self._filled += block.size

    def packed(self) -> tuple[Array, IntArray]:
        """All of them, and where each begins."""
        return np.concatenate(self._flat), self._at


class _Between(NamedTuple):
    """Faces that act on each other by `rules`: `passing` the share of the nodes and its gradient,
    `is_smooth` whether these alone tell enough for Newton's steps."""

    one: FaceSet
    other: FaceSet
    rules: Rules
    passing: tuple[float, Array]
    is_smooth: bool

    @property
    def shape(self) -> tuple[int, int]:
        """Of what of P is needed one by one."""
        if self.passing[0] == 1.0:
            return 0, 0
        return self.one.moments.shape[1], self.other.moments.shape[1]

    @property
    def size(self) -> int:
        """How many entries that has."""
        return math.prod(self.shape)

    def interaction(self, rotation: Array, shift: Array, out: Buffer) -> Interaction:
        """Return P, its entries in `out`."""
        return interaction(self.one, self.other, rotation, shift, self.rules, out, self.passing)


def _faces_of(a: FluxPart, b: FluxPart, rotation: Array, shift: Array) -> list[_Between]:
    outer, inner = (
        placed_nodes(faces.packed.nodes, rotation, shift) for faces in (b.outer, b.inner)
    )
    whole = nodes_share(a.outer.packed.nodes, outer)
    smooth = whole[0] == 1.0
    if not smooth and _is_large(a.outer.packed, b.outer.packed):
        smooth = gap_between(a.outer.packed.nodes, outer)[0] > SMOOTH
    return [
        _Between(a.outer.finely, b.outer.finely, FINE, whole, smooth),
        _rest(a.inner.packed, b.outer.packed, outer),
        _rest(a.outer.packed, b.inner.packed, inner),
    ]


def _is_large(one: FaceSet, other: FaceSet) -> bool:
    """Whether P of all faces costs more than to look how far their nodes are apart."""
    return bool(one.moments.shape[1] * other.moments.shape[1] > LARGE)


def _rest(one: FaceSet, other: FaceSet, nodes: Nodes) -> _Between:
    """The same of charges of m - M; `nodes` the other's in the first's axes."""
    if not _is_large(one, other):
        share, slope = nodes_share(one.nodes, nodes)
        return _Between(one, other, LEAN, (share, slope), share == 1.0)
    away = math.dist(one.nodes.centre, nodes.centre) - one.nodes.reach - nodes.reach
    if away > FAR * max(one.nodes.reach, nodes.reach):
        return _Between(one, other, LEAN, (1.0, np.zeros(6)), True)
    gap, slope = gap_between(one.nodes, nodes)
    return _Between(one, other, LEAN, gap_weight(gap, slope), gap > SMOOTH_REST)


class JointProblem:
    """The parts in one pose, `packed` once for all: P between them in `cross`, in `short` for
    Newton's steps, `field` v h (c, 3)
    and `spread` l by class (3c,)."""

    def __init__(
        self,
        parts: Sequence[FluxPart],
        packed: FluxSet,
        curves: CurveSet,
        cross: tuple[CrossSet, CrossSet],
        field: Array,
        spread: Array,
    ) -> None:
        self.parts, self.packed, self.curves = parts, packed, curves
        self.cross, self.short = cross
        self.field, self.spread = field, spread

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return int(self.packed.unknown[-1])

    def point(self, q: Array) -> _Point:
        """Energy, slope and all that goes with fluxes q."""
        found = flux_point(self.packed, self.curves, self.cross, self.field, self.spread, q)
        return _Point(q, found[0], FluxPoint(*found[1:]))

    def state(self, at: _Point, cost: _Cost, bound: float, converged: bool) -> FluxState:
        """Return a point as a state."""
        parts, f = self.packed, at.f
        outer, inner = rests(parts, f.u)
        return FluxState(
            _split(at.q, parts.unknown), _split(f.placed, parts.outer), _split(f.m, parts.cell),
            tuple(
                one.reshape(g, -1)
                for one, g in zip(_split(f.wide, 3 * parts.cell), parts.images, strict=True)
            ),
            tuple(zip(_split(outer, parts.outer), _split(inner, parts.inner), strict=True)),
            at.energy, bound, cost.products, converged, cost.inverse,
        )  # fmt: skip


def _split(values: Array, first: IntArray) -> tuple[Array, ...]:
    return tuple(values[a:b] for a, b in itertools.pairwise(first))


@dataclass(frozen=True)
class _Point:
    q: Array
    energy: float
    f: FluxPoint


@dataclass
class _Cost:
    """What was spent so far in products, and the inverse in use, None for the stored one."""

    products: int
    inverse: AdaptedInverse | None


def least(
    problem: JointProblem,
    start: Array,
    tolerance: float,
    limit: int,
    inverse: AdaptedInverse | None = None,
) -> FluxState:
    """Return the least of F from fluxes `start`, its bound below `tolerance` of the energy;
    `inverse` as an earlier state left it."""
    here, cost = problem.point(start), _Cost(1, inverse)
    linear = bool(np.all(np.isinf(problem.curves.saturation)))
    while True:
        z = precondition(problem.packed, here.f.slope)
        bound = 0.5 * float(here.f.slope @ z)
        scale = 0.5 * abs(float(np.sum(problem.field * here.f.m)))
        target = max(TIGHTER * tolerance, ROUNDING) * scale
        converged = bound <= tolerance * scale
        if bound <= target or cost.products >= limit or not math.isfinite(bound):
            break
        enough = 0.5 * target / bound
        if not linear:
            enough = min(max(enough, 0.003), 0.1)
        step = _step(problem, here, z, enough, cost, linear)
        new, used = _along(problem, here, step, 1e-14 * (abs(here.energy) + scale))
        cost.products += used
        if new is None:
            break
        here = new
    return problem.state(here, cost, max(bound, 0.0), converged)


def _step(
    problem: JointProblem, here: _Point, z: Array, enough: float, cost: _Cost, linear: bool
) -> Array:
    """Return a step of Newton's, first by the inverse in use, then by one adapted to this point."""
    packed, cross, f = problem.packed, problem.short, here.f
    if cost.inverse is not None:
        packed = cost.inverse.instead(packed)
        z = precondition(packed, f.slope)
    patience = INNER if linear else PATIENCE if cost.inverse is None else cost.inverse.products
    step, used = newton_step(packed, cross, f, z, enough, patience)
    cost.products += used
    if used < patience or linear:
        return step
    new = adapted(problem.parts, problem.packed, f)
    packed = new.instead(packed)
    step, used = newton_step(packed, cross, f, precondition(packed, f.slope), enough, INNER)
    cost.products += used
    cost.inverse = replace(new, products=max(PATIENCE, 2 * used))
    return step


def _along(
    problem: JointProblem, here: _Point, step: Array, noise: float
) -> tuple[_Point | None, int]:
    fall, part = float(here.f.slope @ step), 1.0
    for trial in range(SHORTER):
        new = problem.point(here.q + part * step)
        if new.energy <= here.energy + 1e-4 * part * fall + noise:
            return new, trial + 1
        excess = new.energy - here.energy - part * fall
        best = -0.5 * part * part * fall / excess if excess > 0 else 0.5 * part
        part = min(max(best, 0.1 * part), 0.5 * part)
    return None, SHORTER
