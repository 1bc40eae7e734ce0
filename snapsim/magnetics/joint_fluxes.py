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

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.anhysteretic import CurveSet, crossing, state_at
from snapsim.magnetics.flux_part import FluxPart
from snapsim.magnetics.mutual import FINE, Interaction, interaction, wrench
from snapsim.numerics.compilation import compiled

INNER: Final = 200
"""Steps of conjugate gradients in one of Newton's."""

TIGHTER: Final = 1e-3
"""Share of the tolerance that is gone on to: forces err with the root of the energy's error, most
so where a small gap makes fluxes change fast with the pose."""

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


def cross_layer(a: FluxPart, b: FluxPart, rotation: Array, shift: Array) -> CrossLayer:
    """Return P of two parts; x_a = rotation x_b + shift takes b's axes to a's."""
    return CrossLayer(
        interaction(a.outer.finely, b.outer.finely, rotation, shift, FINE),
        interaction(a.inner.packed, b.outer.packed, rotation, shift),
        interaction(a.outer.packed, b.inner.packed, rotation, shift),
    )


def _times(pair: Interaction, x: Array) -> Array:
    total = np.zeros(pair.a.moments.shape[1])
    for far, block in pair.blocks:
        if far:
            total += pair.a.nodes.gather @ (block @ (x @ pair.b.nodes.gather))
        else:
            total += block @ x
    return total


def _back(pair: Interaction, x: Array) -> Array:
    total = np.zeros(pair.b.moments.shape[1])
    for far, block in pair.blocks:
        if far:
            total += pair.b.nodes.gather @ ((x @ pair.a.nodes.gather) @ block)
        else:
            total += x @ block
    return total


class JointProblem:
    """The parts in one pose: `layers` by pair, `field` v h (c, 3) and `spread` l of each part."""

    def __init__(
        self,
        parts: Sequence[FluxPart],
        curves: CurveSet,
        layers: dict[tuple[int, int], CrossLayer],
        field: Sequence[Array],
        spread: Sequence[Array],
    ) -> None:
        self.parts, self.curves, self.layers = parts, curves, layers
        self.field, self.spread = field, spread
        self.first = np.cumsum([0, *(int(part.starts[-1]) for part in parts)])

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return int(self.first[-1])

    def split(self, q: Array) -> list[Array]:
        """Each part's share of the unknowns."""
        return [q[a:b] for a, b in zip(self.first[:-1], self.first[1:], strict=True)]

    def precondition(self, r: Array) -> Array:
        """K^-1 r."""
        each = zip(self.parts, self.split(r), strict=True)
        return np.concatenate([part.precondition(one) for part, one in each])

    def linear(self, q: Array) -> _Fields:
        """What fluxes make."""
        shares = list(zip(self.parts, self.split(q), strict=True))
        s = [part.charges(one) for part, one in shares]
        placed = [part.scalars(one) for (part, _), one in zip(shares, s, strict=True)]
        mean = [part.means(one) for part, one in shares]
        wide = [part.widened(one) for part, one in shares]
        outer = [np.zeros(len(part.outer.cell)) for part in self.parts]
        inner = [np.zeros(len(part.inner.cell)) for part in self.parts]
        for (a, b), layer in self.layers.items():
            outer[a] += _times(layer.both, placed[b])
            outer[b] += _back(layer.both, placed[a])
            inner[a] += _times(layer.inner_first, placed[b])
            inner[b] += _back(layer.inner_second, placed[a])
        xi = []
        for part, own, po, pi in zip(self.parts, s, outer, inner, strict=True):
            pulled = part.vectors(np.matmul(part.pull, own[:, :, None])[:, :, 0])
            part.outer.add_field(po, pulled)
            part.inner.add_field(pi, pulled)
            xi.append(pulled)
        return _Fields(s, placed, mean, wide, outer, xi)

    def rests(self, u: Sequence[Array]) -> list[tuple[Array, Array]]:
        """D u on outer and inner faces."""
        return [
            (part.outer.charges(one), part.inner.charges(one))
            for part, one in zip(self.parts, u, strict=True)
        ]

    def pulled(self, f: _Fields, u: Sequence[Array]) -> Array:
        """The slope in q that fields f and u = m - M make, but for the load on widenings."""
        rest = self.rests(u)
        outer = [one.copy() for one in f.outer]
        for (a, b), layer in self.layers.items():
            outer[a] -= _times(layer.both, rest[b][0]) + _times(layer.inner_second, rest[b][1])
            outer[b] -= _back(layer.both, rest[a][0]) + _back(layer.inner_first, rest[a][1])
        found = []
        for k, part in enumerate(self.parts):
            each = part.vector_classes(u[k])
            on_charge = np.matmul(part.layer, f.s[k][:, :, None])[:, :, 0]
            on_charge += np.matmul(each[:, None], part.pull)[:, 0]
            on_charge += part.scalar_classes(outer[k])
            on_mean = part.vector_classes(f.xi[k] + part.volume[:, None] * u[k])
            found.append(
                part.surface.T @ on_charge.ravel()
                + part.mean.T @ on_mean.ravel()
                + part.widen.T @ part.resist(f.wide[k]).ravel()
            )
        return np.concatenate(found)

    def point(self, q: Array) -> _Point:
        """Energy, slope and all that goes with fluxes q."""
        f = self.linear(q)
        energy, answers, u = 0.0, [], []
        for k, part in enumerate(self.parts):
            v = part.volume[:, None]
            beta = f.mean[k] + (f.xi[k] + self.field[k]) / v
            answer = _Magnetised(np.empty_like(beta), np.empty(len(v)), np.empty(len(v)), beta)
            energy -= respond(
                self.curves, k, part.volume, beta, answer.m, answer.along, answer.across
            )
            energy += float(np.sum(f.mean[k] * (0.5 * v * f.mean[k] + f.xi[k])))
            on_charge = np.matmul(part.layer, f.s[k][:, :, None])[:, :, 0]
            energy += 0.5 * float(np.sum(f.s[k] * on_charge))
            energy += 0.5 * float(f.placed[k] @ f.outer[k])
            wide = f.wide[k]
            energy += float(np.sum(wide * (0.5 * part.resist(wide) - self.spread[k])))
            answers.append(answer)
            u.append(f.mean[k] - answer.m)
        slope = self.pulled(f, u)
        slope -= np.concatenate(
            [p.widen.T @ one.ravel() for p, one in zip(self.parts, self.spread, strict=True)]
        )
        return _Point(q, f, answers, u, energy, slope)

    def curved(self, at: _Point, step: Array) -> Array:
        """F'' times a step, at a point."""
        f = self.linear(step)
        u = []
        for k, part in enumerate(self.parts):
            beta = f.mean[k] + f.xi[k] / part.volume[:, None]
            u.append(f.mean[k] - at.answers[k].rise(beta))
        return self.pulled(f, u)

    def state(self, at: _Point, bound: float, products: int, converged: bool) -> FluxState:
        """Return a point as a state."""
        return FluxState(
            tuple(self.split(at.q)), tuple(at.f.placed), tuple(one.m for one in at.answers),
            tuple(at.f.wide), tuple(self.rests(at.u)), at.energy, bound, products, converged,
        )  # fmt: skip


@dataclass(frozen=True)
class _Fields:
    """Of each part: s by class and `placed`, m, d, potentials on its outer faces, and v xi."""

    s: list[Array]
    placed: list[Array]
    mean: list[Array]
    wide: list[Array]
    outer: list[Array]
    xi: list[Array]


@dataclass(frozen=True)
class _Magnetised:
    """M (c, 3) for beta, and dM/dbeta along and across it."""

    m: Array
    along: Array
    across: Array
    beta: Array

    def rise(self, change: Array) -> Array:
        """dM for a change of beta."""
        size = np.einsum("ci,ci->c", self.beta, self.beta)
        radial = (self.along - self.across) * np.einsum("ci,ci->c", self.beta, change)
        radial /= np.where(size > 0, size, 1.0)
        found: Array = self.across[:, None] * change + radial[:, None] * self.beta
        return found


@dataclass(frozen=True)
class _Point:
    q: Array
    f: _Fields
    answers: list[_Magnetised]
    u: list[Array]
    energy: float
    slope: Array


def least(problem: JointProblem, start: Array, tolerance: float, limit: int) -> FluxState:
    """Return the least of F from fluxes `start`, its bound below `tolerance` of the energy."""
    here = problem.point(start)
    products = 1
    while True:
        z = problem.precondition(here.slope)
        bound = 0.5 * float(here.slope @ z)
        scale = 0.5 * abs(
            sum(float(np.sum(h * a.m)) for h, a in zip(problem.field, here.answers, strict=True))
        )
        target = max(TIGHTER * tolerance, ROUNDING) * scale
        converged = bound <= tolerance * scale
        if bound <= target or products >= limit or not math.isfinite(bound):
            break
        linear = bool(np.all(np.isinf(problem.curves.saturation)))
        enough = 0.5 * target / bound
        if not linear:
            enough = min(max(enough, 0.003), 0.1)
        step, used = _newton(problem, here, z, enough)
        products += used
        new, used = _along(problem, here, step, 1e-14 * (abs(here.energy) + scale))
        products += used
        if new is None:
            break
        here = new
    return problem.state(here, max(bound, 0.0), products, converged)


def _newton(problem: JointProblem, here: _Point, z: Array, enough: float) -> tuple[Array, int]:
    """Return -F''^-1 F' by conjugate gradients, and the products used."""
    rest, step, p = -here.slope, np.zeros_like(z), -z
    rz = -float(rest @ z)
    first, z = rz, -z
    for used in range(1, INNER + 1):
        q = problem.curved(here, p)
        curvature = float(p @ q)
        if not curvature > 0:
            return (step if used > 1 else p), used
        length = rz / curvature
        step += length * p
        rest = rest - length * q
        z = problem.precondition(rest)
        new = float(rest @ z)
        if not new > enough * first:
            break
        p = z + new / rz * p
        rz = new
    return step, used


def _along(
    problem: JointProblem, here: _Point, step: Array, noise: float
) -> tuple[_Point | None, int]:
    fall, part = float(here.slope @ step), 1.0
    for trial in range(SHORTER):
        new = problem.point(here.q + part * step)
        if new.energy <= here.energy + 1e-4 * part * fall + noise:
            return new, trial + 1
        excess = new.energy - here.energy - part * fall
        best = -0.5 * part * part * fall / excess if excess > 0 else 0.5 * part
        part = min(max(best, 0.1 * part), 0.5 * part)
    return None, SHORTER


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
