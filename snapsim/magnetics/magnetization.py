"""Magnetisation of all soft cells in a given field: the minimum of one convex energy.

    E / mu_0 = sum_i v_i [ w(|M_i|) - M_i . h_i ] + 1/2 M . A M,      w'(m) = H(m)

M (c, 3) [A/m] is constant in a cell, v (c,) [m^3] the volumes, h (c, 3) [A/m] the field of the
magnets averaged on a cell, A = V N the demagnetising operator of all soft bodies together
[m^3], symmetric and positive semidefinite. At the minimum H_i = h_i - (N M)_i, H the local field.
Source: Brown, Micromagnetics, 1963, section 3 (from memory); convexity: w is convex because the
curve rises, A because it is an energy.

Method. K = A + V/chi (chi the largest slope of a body's curve) has a stored inverse P.
- *Gentle* stage: conjugate gradients preconditioned with P. z = P r serves as direction and as
  certificate, and A z = r - V z / chi costs nothing: one product an iteration.
- *Stiff* stage, once saturated cells spoil P: Newton steps solved by conjugate gradients with
  S P' S, P' = (A + V/chi')^-1 with small chi', and S a scaling of each cell along and across M.
- A step leads off the curve. Where that matters it is brought back by a proximal-gradient step,
  H + N_0 M = h - (N - N_0) M' cell by cell: no cell can leave the domain of the curve, and for
  N_0 = 1 >= |N| the energy does not rise (Beck & Teboulle, SIAM J. Imaging Sci. 2, 183 (2009),
  lemma 2.3; from memory), so that a step rarely needs shortening.

Certificate. With w = m^2 / (2 chi) + g(m), g convex, Fenchel's inequality gives for any field s
    E/mu_0 - min <= 1/2 (r - V s) . P (r - V s) + sum_i v_i [ g(M) + g*(d) - d . M ]
with d = lambda + s, lambda = H(M) - M/chi and r = V (h - H(M)) - A M. s = 0 gives 1/2 r.P r. For
one body the bound is rigorous (up to rounding); between soft bodies P leaves the coupling out, and
it is an estimate that is good while they magnetise each other less than the magnets do.

All arrays are C-ordered float64; nothing here raises, and a state that is not good enough says so.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.anhysteretic import CurveSet, crossing, state_at
from snapsim.magnetics.charged_faces import add_to_cells, charge
from snapsim.magnetics.symmetric_blocks import Buffer, Layout, multiply
from snapsim.numerics.compilation import bare, compiled, summing

CUBE = 1.0 / 3.0
"""Demagnetising factor of a single cell, against which its stiffness w'' is weighed (a cube's)."""
QUICK, SAFE = 0.5, 1.0
"""Factor N_0 of the return to the curve: first trial (usually enough), and later ones."""
RELAXED = 10.0
"""chi' of the preconditioner in the stiff stage; found best of 3 to 100 by trial."""
STEEPEST = 3.0
"""H over M up to which an extrapolated M is turned into the field that belongs to it."""
SHARED = 0.05
"""w'' - 1/chi from which a cell takes a share of the residual in the certificate."""
STIFF = 0.5
"""The stiff stage takes over when saturated cells add this multiple of the assumed stiffness."""


class Problem(NamedTuple):
    """What does not change with the pose; c soft cells of n bodies, one after another.

    `body` (c,) says whose curve a cell has; `volume` (c,) [m^3]; `slope` (c,) = 1/chi;
    `demagnetising` holds the blocks of A, `rough` the same in float32, `shifted` those of P,
    `relaxed` (float32) those of P'.
    """

    where: Layout
    curves: CurveSet
    body: IntArray
    volume: Array
    slope: Array
    demagnetising: Buffer
    rough: Buffer
    shifted: Buffer
    relaxed: Buffer


class Coupling(NamedTuple):
    """Charge on charge between bodies in one pose: cross blocks C = D_a^T P D_b of A.

    Pair k joins bodies pairs[k, 0] and pairs[k, 1] and owns flat[start[k]:start[k + 1]], its P
    (f_a, f_b) [m^3], or where pairs[k, 2] is 1 its K (n, n) [1/m] over nodes, P = U_a K U_b^T
    (`distant_charges`); the transpose serves the other way. Body i owns the faces
    face[i]:face[i + 1] that carry the charges D M (`charged_faces`): `cell` (f, 2), counted over
    all bodies, `outward` (f, 2, 3), and `gather` (f, n) their U.
    """

    pairs: IntArray
    start: IntArray
    flat: Array
    gather: Array
    face: IntArray
    cell: IntArray
    outward: Array


def uncoupled() -> Coupling:
    """Return the coupling of bodies that do not act on one another."""
    none = np.zeros(1, np.int64)
    return Coupling(
        np.empty((0, 3), np.int64), none, np.empty(0), np.empty((0, 1)), none,
        np.empty((0, 2), np.int64), np.empty((0, 2, 3)),
    )  # fmt: skip


class Iterate(NamedTuple):
    """A point on the curve in every cell: `h`, `m` (c, 3) field and magnetisation [A/m], `am`
    (c, 3) = A m, and (c,) their moduli `size_h`, `size_m`, the slope dM/dH and the density w."""

    h: Array
    m: Array
    am: Array
    size_h: Array
    size_m: Array
    rise: Array
    density: Array


class Minimum(NamedTuple):
    """The result: fields and magnetisation (c, 3), E/mu_0 and its bound [A^2 m], the cost."""

    h: Array
    m: Array
    am: Array
    energy: float
    bound: float
    products: int
    converged: bool


def minimise(
    problem: Problem,
    coupling: Coupling,
    load: Array,
    start_h: Array,
    start_am: Array,
    tolerance: float,
    limit: int,
) -> Minimum:
    """Return the minimum for the `load` v h (c, 3) [A m^2].

    Starts from the local field `start_h` (c, 3) and `start_am` = A M(start_h). Stops when the
    bound is below `tolerance` |E|, or after `limit` products (then converged is False).
    """
    return Minimum(*_minimise(problem, coupling, load, start_h, start_am, tolerance, limit))


@compiled
def _minimise(
    problem: Problem,
    coupling: Coupling,
    load: Array,
    start_h: Array,
    start_am: Array,
    tolerance: float,
    limit: int,
) -> tuple[Array, Array, Array, float, float, int, bool]:
    """Return what `Minimum` has, as a plain tuple: that type would be unpickled at every call."""
    here, there = _iterate(load.shape[0]), _iterate(load.shape[0])
    here.h[:], here.am[:] = start_h, start_am
    _on_curve(problem, here)
    energy = _energy(problem, load, here)
    if not math.isfinite(energy):
        here.h[:], here.am[:] = 0.0, 0.0
        _on_curve(problem, here)
        energy = 0.0
    r, z, step, a_step = _vectors(load)
    p, kp, last = np.zeros_like(load), np.zeros_like(load), np.zeros_like(load)
    products, restart, rz = 0, True, 0.0
    stiff = limit < 0  # not the literal False, for which everything would compile twice
    bound, converged = math.inf, False
    while True:
        _combine(1.0, load, -1.0, here.am, r)
        for i in range(r.shape[0]):
            for k in range(3):
                r[i, k] -= problem.volume[i] * here.h[i, k]
        bound = _certificate(problem, here, r, z, stiff)
        products += 1
        scale = abs(_dot(load, here.m)) / 2
        converged = bound <= tolerance * scale
        if converged or products >= limit or not math.isfinite(bound):
            break
        if not stiff:
            stiff = _gentle_step(
                problem, coupling, here, r, z, p, kp, last, rz, restart, step, a_step
            )
            rz, restart = _dot(r, z), False
            last[:] = r
        if stiff:
            enough = min(max(0.2 * tolerance * scale / bound, 0.01), 0.3)
            products += _newton_step(problem, coupling, here, r, enough, step, a_step)
        used, energy = _move(problem, coupling, load, here, there, step, a_step, r, energy, scale)
        products += used
        restart = used > 0
        if used < 0:
            break
    if converged and not stiff:  # the certificate's z is paid for: one more step is free
        fail = _gentle_step(problem, coupling, here, r, z, p, kp, last, rz, restart, step, a_step)
        if not fail and _straight(problem, here, there, step, a_step):
            new = _energy(problem, load, there)
            if new < energy:
                bound, energy = bound - (energy - new), new
                _copy(there, here)
    return here.h, here.m, here.am, energy, max(bound, 0.0), products, converged


@compiled
def minimise_from(
    problem: Problem,
    coupling: Coupling,
    load: Array,
    h: Array,
    m: Array,
    tolerance: float,
    limit: int,
) -> tuple[Array, Array, Array, float, float, int, bool]:
    """Return what `Minimum` has, from a guess of local field `h` and magnetisation `m` (c, 3).

    Overwrites both. A M is computed anew: mixed from earlier ones its rounding would grow along a
    path, unseen by the residual that is computed from it.
    """
    am = np.empty_like(load)
    own = h.copy()
    if coupling.pairs.shape[0] == 0 and field_of(problem, m, own):
        h[:] = own
    else:
        magnetise(problem, h, m)
    demagnetise(problem, coupling, m, am)
    return _minimise(problem, coupling, load, h, am, tolerance, limit)


@compiled
def _iterate(c: int) -> Iterate:
    return Iterate(
        np.zeros((c, 3)),
        np.zeros((c, 3)),
        np.zeros((c, 3)),
        np.zeros(c),
        np.zeros(c),
        np.ones(c),
        np.zeros(c),
    )


@compiled
def _vectors(load: Array) -> tuple[Array, Array, Array, Array]:
    return np.empty_like(load), np.empty_like(load), np.empty_like(load), np.empty_like(load)


@bare
def _dot(a: Array, b: Array) -> float:
    total = 0.0
    for i in range(a.shape[0]):
        total += a[i, 0] * b[i, 0] + a[i, 1] * b[i, 1] + a[i, 2] * b[i, 2]
    return total


@bare
def _combine(a: float, x: Array, b: float, y: Array, out: Array) -> None:
    """Set `out` to a x + b y; a loop, as array expressions take long to compile."""
    for i in range(x.shape[0]):
        for k in range(3):
            out[i, k] = a * x[i, k] + b * y[i, k]


@bare
def _on_curve(problem: Problem, x: Iterate) -> None:
    """Fill everything of `x` that follows from its field."""
    for i in range(x.h.shape[0]):
        h = math.sqrt(x.h[i, 0] ** 2 + x.h[i, 1] ** 2 + x.h[i, 2] ** 2)
        m, rise, coenergy = state_at(problem.curves, problem.body[i], h)
        ratio = m / h if h > 0 else rise
        for k in range(3):
            x.m[i, k] = ratio * x.h[i, k]
        x.size_h[i], x.size_m[i], x.rise[i] = h, m, rise
        x.density[i] = m * h - coenergy


@bare
def _energy(problem: Problem, load: Array, x: Iterate) -> float:
    total = 0.0
    for i in range(load.shape[0]):
        total += problem.volume[i] * x.density[i]
        for k in range(3):
            total += x.m[i, k] * (0.5 * x.am[i, k] - load[i, k])
    return total


@summing
def _both_ways(p: Array, x: Array, y: Array, u: Array, v: Array) -> None:
    """Add p y to `u` (f,) and p^T x to `v` (g,), reading p (f, g) once."""
    for f in range(p.shape[0]):
        row, total, share = p[f], 0.0, x[f]
        for g in range(p.shape[1]):
            total += row[g] * y[g]
            v[g] += share * row[g]
        u[f] += total


@compiled
def couple(coupling: Coupling, x: Array, y: Array) -> None:
    """Add the cross blocks times `x` (c, 3) to `y` (c, 3)."""
    if coupling.pairs.shape[0] == 0:
        return
    sigma, potential = np.empty(len(coupling.cell)), np.zeros(len(coupling.cell))
    charge(coupling.cell, coupling.outward, x, sigma)
    for k in range(coupling.pairs.shape[0]):
        a, b = coupling.pairs[k, 0], coupling.pairs[k, 1]
        one = slice(coupling.face[a], coupling.face[a + 1])
        other = slice(coupling.face[b], coupling.face[b + 1])
        block = coupling.flat[coupling.start[k] : coupling.start[k + 1]]
        if coupling.pairs[k, 2] == 1:
            u, v = coupling.gather[one], coupling.gather[other]
            p = block.reshape(u.shape[1], v.shape[1])
            potential[one] += np.dot(u, np.dot(p, np.dot(sigma[other], v)))
            potential[other] += np.dot(v, np.dot(np.dot(sigma[one], u), p))
        else:
            rows = coupling.face[a + 1] - coupling.face[a]
            p = block.reshape(rows, coupling.face[b + 1] - coupling.face[b])
            _both_ways(p, sigma[one], sigma[other], potential[one], potential[other])
    add_to_cells(coupling.cell, coupling.outward, potential, y)


@compiled
def demagnetise(problem: Problem, coupling: Coupling, x: Array, y: Array) -> None:
    """Set `y` (c, 3) to A times `x` (c, 3)."""
    multiply(problem.where, problem.demagnetising, x, y)
    couple(coupling, x, y)


@bare
def _stiffness(x: Iterate, i: int) -> tuple[float, float, float, float, float]:
    """Return d^2w/dM^2 of cell i along and across M, and the unit vector along it."""
    along = 1.0 / x.rise[i]
    if x.size_h[i] > 0 and x.size_m[i] > 0:
        n = 1.0 / x.size_h[i]
        return along, x.size_h[i] / x.size_m[i], n * x.h[i, 0], n * x.h[i, 1], n * x.h[i, 2]
    return along, along, 0.0, 0.0, 1.0


@compiled
def _certificate(problem: Problem, x: Iterate, r: Array, z: Array, stiff: bool) -> float:
    """Return the bound on E/mu_0 - min; set `z` to P (r - V s), s = 0 unless `stiff`."""
    if not stiff:
        multiply(problem.where, problem.shifted, r, z)
        plain: float = 0.5 * _dot(r, z)
        return plain
    rest = np.empty_like(r)
    gap = _shares(problem, x, r, rest)
    multiply(problem.where, problem.shifted, rest, z)
    return 0.5 * _dot(rest, z) + gap


@bare
def _shares(problem: Problem, x: Iterate, r: Array, rest: Array) -> float:
    """Give each cell its share s of the residual, rest = r - v s; return Fenchel's gap [A^2 m]."""
    curves, total = problem.curves, 0.0
    for i in range(r.shape[0]):
        slope, v, body = problem.slope[i], problem.volume[i], problem.body[i]
        along, across, u0, u1, u2 = _stiffness(x, i)
        d1, d2 = max(along - slope, 0.0), max(across - slope, 0.0)
        if not max(d1, d2) > SHARED:
            rest[i, 0], rest[i, 1], rest[i, 2] = r[i, 0], r[i, 1], r[i, 2]
            continue
        t1, t2 = d1 / (d1 + CUBE), d2 / (d2 + CUBE)
        radial = (t1 - t2) * (r[i, 0] * u0 + r[i, 1] * u1 + r[i, 2] * u2)
        s0, s1, s2 = (
            t2 * r[i, 0] + radial * u0,
            t2 * r[i, 1] + radial * u1,
            t2 * r[i, 2] + radial * u2,
        )
        rest[i, 0], rest[i, 1], rest[i, 2] = r[i, 0] - s0, r[i, 1] - s1, r[i, 2] - s2
        first = x.size_h[i] - slope * x.size_m[i]
        s0, s1, s2 = first * u0 + s0 / v, first * u1 + s1 / v, first * u2 + s2 / v
        dual = math.sqrt(s0 * s0 + s1 * s1 + s2 * s2)
        product = s0 * x.m[i, 0] + s1 * x.m[i, 1] + s2 * x.m[i, 2]
        h = crossing(curves, body, 1.0, -slope, dual, x.size_h[i])
        m, _rise, coenergy = state_at(curves, body, h)
        conjugate = dual * m - (m * h - coenergy) + 0.5 * slope * m * m
        gap = x.density[i] - 0.5 * slope * x.size_m[i] ** 2 + conjugate - product
        total += v * max(gap, 0.0)
    return total


@compiled
def _gentle_step(
    problem: Problem,
    coupling: Coupling,
    x: Iterate,
    r: Array,
    z: Array,
    p: Array,
    kp: Array,
    last: Array,
    rz: float,
    restart: bool,
    step: Array,
    a_step: Array,
) -> bool:
    """Set the next conjugate-gradient `step` and A step; return True if P is too poor here.

    `p` and `kp` = (A + V/chi) p are the direction before, `last` and `rz` its r and r.z.
    """
    kz = r.copy()
    couple(coupling, z, kz)
    mix = 0.0 if restart else max(0.0, (_dot(r, z) - _dot(last, z)) / rz)
    _combine(1.0, z, mix, p, p)
    _combine(1.0, kz, mix, kp, kp)
    if not _dot(p, r) > 0:
        p[:], kp[:] = z, kz
    extra, hard = 0.0, 0.0
    for i in range(r.shape[0]):
        along, across, u0, u1, u2 = _stiffness(x, i)
        radial = p[i, 0] * u0 + p[i, 1] * u1 + p[i, 2] * u2
        lateral = p[i, 0] ** 2 + p[i, 1] ** 2 + p[i, 2] ** 2 - radial * radial
        radial *= radial * problem.volume[i]
        lateral *= problem.volume[i]
        floor = max(problem.slope[i], 1.0 / RELAXED)
        extra += (along - problem.slope[i]) * radial + (across - problem.slope[i]) * lateral
        hard += max(along - floor, 0.0) * radial + max(across - floor, 0.0) * lateral
    assumed = _dot(p, kp)
    length = _dot(p, r) / (assumed + extra)
    for i in range(r.shape[0]):
        share = problem.volume[i] * problem.slope[i]
        for k in range(3):
            step[i, k] = length * p[i, k]
            a_step[i, k] = length * (kp[i, k] - share * p[i, k])
    return not (assumed > 0 and hard <= STIFF * assumed)


@compiled
def _newton_step(
    problem: Problem,
    coupling: Coupling,
    x: Iterate,
    r: Array,
    enough: float,
    step: Array,
    a_step: Array,
) -> int:
    """Set the Newton `step` (A + V w'') step = r, and A step; return the products used.

    Conjugate gradients with S P' S until r.S P' S r fell to `enough` of its first value. A is
    taken in float32, and once in float64 for A step.
    """
    rest, z, cp, q = r.copy(), np.empty_like(r), np.empty_like(r), np.empty_like(r)
    step[:], a_step[:] = 0.0, 0.0
    _precondition(problem, x, rest, z)
    p = z.copy()
    rz = _dot(rest, z)
    target = enough * rz
    products = 1
    while rz > 0 and products < 120:
        multiply(problem.where, problem.rough, p, q)
        cp[:] = 0.0
        couple(coupling, p, cp)
        _combine(1.0, q, 1.0, cp, q)
        _add_stiffness(problem, x, p, q)
        curvature = _dot(p, q)
        if not curvature > 0:
            break
        length = rz / curvature
        _combine(1.0, step, length, p, step)
        _combine(1.0, a_step, length, cp, a_step)
        _combine(1.0, rest, -length, q, rest)
        _precondition(problem, x, rest, z)
        products += 2
        new = _dot(rest, z)
        if not new > target:
            break
        _combine(1.0, z, new / rz, p, p)
        rz = new
    multiply(problem.where, problem.demagnetising, step, z)
    _combine(1.0, a_step, 1.0, z, a_step)
    return products + 1


@bare
def _add_stiffness(problem: Problem, x: Iterate, p: Array, q: Array) -> None:
    """Add V w'' p to `q`."""
    for i in range(p.shape[0]):
        along, across, u0, u1, u2 = _stiffness(x, i)
        v = problem.volume[i]
        radial = v * (along - across) * (p[i, 0] * u0 + p[i, 1] * u1 + p[i, 2] * u2)
        q[i, 0] += v * across * p[i, 0] + radial * u0
        q[i, 1] += v * across * p[i, 1] + radial * u1
        q[i, 2] += v * across * p[i, 2] + radial * u2


@compiled
def _precondition(problem: Problem, x: Iterate, r: Array, z: Array) -> None:
    """Set `z` to S P' S r, S = (1 + (w'' - 1/chi') / N_0)^(-1/2) cell by cell."""
    scaled = np.empty_like(r)
    _scale(problem, x, r, scaled)
    multiply(problem.where, problem.relaxed, scaled, z)
    _scale(problem, x, z, z)


@bare
def _scale(problem: Problem, x: Iterate, r: Array, y: Array) -> None:
    for i in range(r.shape[0]):
        along, across, u0, u1, u2 = _stiffness(x, i)
        floor = max(problem.slope[i], 1.0 / RELAXED)
        s1 = 1.0 / math.sqrt(1.0 + max(along - floor, 0.0) / CUBE)
        s2 = 1.0 / math.sqrt(1.0 + max(across - floor, 0.0) / CUBE)
        radial = (s1 - s2) * (r[i, 0] * u0 + r[i, 1] * u1 + r[i, 2] * u2)
        y[i, 0] = s2 * r[i, 0] + radial * u0
        y[i, 1] = s2 * r[i, 1] + radial * u1
        y[i, 2] = s2 * r[i, 2] + radial * u2


@compiled
def _move(
    problem: Problem,
    coupling: Coupling,
    load: Array,
    here: Iterate,
    there: Iterate,
    step: Array,
    a_step: Array,
    r: Array,
    energy: float,
    scale: float,
) -> tuple[int, float]:
    """Take the step, shortened where it must be; return the products used and the new energy.

    First as it is in M, which costs no product; else by proximal gradient. -1: no way down.
    """
    fall = _dot(r, step)
    noise = 1e-14 * (abs(energy) + scale)
    if _straight(problem, here, there, step, a_step):
        new = _energy(problem, load, there)
        if new <= energy - 0.45 * fall + noise:
            _copy(there, here)
            return 0, new
    fraction = 1.0
    for trial in range(25):
        _proximal(problem, load, here, there, step, a_step, fraction, QUICK if trial == 0 else SAFE)
        demagnetise(problem, coupling, there.m, there.am)
        new = _energy(problem, load, there)
        if new <= energy - 1e-4 * fraction * fall + noise:
            _copy(there, here)
            return trial + 1, new
        excess = new - energy + fraction * fall
        best = 0.5 * fraction * fraction * fall / excess if excess > 0 else 0.5 * fraction
        fraction = min(max(best, 0.1 * fraction), 0.5 * fraction)
    return -1, energy


@bare
def _copy(source: Iterate, target: Iterate) -> None:
    for i in range(source.h.shape[0]):
        for k in range(3):
            target.h[i, k], target.m[i, k] = source.h[i, k], source.m[i, k]
            target.am[i, k] = source.am[i, k]
        target.size_h[i], target.size_m[i] = source.size_h[i], source.size_m[i]
        target.rise[i], target.density[i] = source.rise[i], source.density[i]


@bare
def _straight(problem: Problem, x: Iterate, y: Iterate, step: Array, a_step: Array) -> bool:
    """Set `y` to M + step and the field that belongs to it; False if a cell cannot follow."""
    curves = problem.curves
    for i in range(step.shape[0]):
        for k in range(3):
            y.m[i, k] = x.m[i, k] + step[i, k]
            y.am[i, k] = x.am[i, k] + a_step[i, k]
        m = math.sqrt(y.m[i, 0] ** 2 + y.m[i, 1] ** 2 + y.m[i, 2] ** 2)
        guess = x.size_h[i] + (m - x.size_m[i]) / x.rise[i]
        h = crossing(curves, problem.body[i], 0.0, 1.0, m, guess)
        if not h <= 1e9:
            return False
        _m, rise, coenergy = state_at(curves, problem.body[i], h)
        ratio = h / m if m > 0 else 0.0
        for k in range(3):
            y.h[i, k] = ratio * y.m[i, k]
        y.size_h[i], y.size_m[i], y.rise[i] = h, m, rise
        y.density[i] = m * h - coenergy
    return True


@bare
def _proximal(
    problem: Problem,
    load: Array,
    x: Iterate,
    y: Iterate,
    step: Array,
    a_step: Array,
    part: float,
    n0: float,
) -> None:
    """Set `y` to the proximal-gradient point of M' = M + part step.

    H + n0 M = h - N M' + n0 M' in each cell: with n0 = 1 its energy is never above that of M'.
    """
    curves = problem.curves
    for i in range(step.shape[0]):
        v = problem.volume[i]
        size = 0.0
        for k in range(3):
            field = (load[i, k] - x.am[i, k] - part * a_step[i, k]) / v
            y.h[i, k] = field + n0 * (x.m[i, k] + part * step[i, k])
            size += y.h[i, k] ** 2
        size = math.sqrt(size)
        h = crossing(curves, problem.body[i], 1.0, n0, size, x.size_h[i])
        ratio = h / size if size > 0 else 0.0
        for k in range(3):
            y.h[i, k] *= ratio
    _on_curve(problem, y)


@bare
def field_of(problem: Problem, m: Array, h: Array) -> bool:
    """Set `h` (c, 3), a guess of it, to the local field that belongs to `m` (c, 3); False where a
    cell has none, or where its field is so steep a function of `m` that it says little."""
    curves = problem.curves
    for i in range(m.shape[0]):
        size = math.sqrt(m[i, 0] ** 2 + m[i, 1] ** 2 + m[i, 2] ** 2)
        guess = math.sqrt(h[i, 0] ** 2 + h[i, 1] ** 2 + h[i, 2] ** 2)
        strength = crossing(curves, problem.body[i], 0.0, 1.0, size, guess)
        if not strength <= STEEPEST * size + 1e3:
            return False
        for k in range(3):
            h[i, k] = m[i, k] * (strength / size if size > 0 else 0.0)
    return True


@bare
def magnetise(problem: Problem, h: Array, m: Array) -> None:
    """Set `m` to the magnetisation (c, 3) at the local field `h` (c, 3)."""
    for i in range(h.shape[0]):
        size = math.sqrt(h[i, 0] ** 2 + h[i, 1] ** 2 + h[i, 2] ** 2)
        strength, rise, _coenergy = state_at(problem.curves, problem.body[i], size)
        for k in range(3):
            m[i, k] = h[i, k] * (strength / size if size > 0 else rise)
