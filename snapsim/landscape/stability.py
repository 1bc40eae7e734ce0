"""Whether a rest is stable: second derivatives of the energy along the motions that contacts leave.

    u(t) = U(x + Z t + n(t)),    K = d2u/dt2,    K a = k a,    f = sqrt(k/m)/(2 pi)

Z (6, j) a basis, orthonormal by the metric of `place`, of the motions that open or press no contact
that bears load and keep joints; n(t) the change across them that keeps the loaded contacts closed,
from the exact contact geometry, so K holds the curvature of the contacts (second derivatives of the
Lagrangian on the critical cone). k [N/m] per metre of the metric, k < 0: unstable, growing at
sqrt(-k/m) [1/s]. Across loaded contacts a rest is held by a finite force: no frequency belongs to
that. Friction is left out: frequencies are those of smooth contacts, a rolling part is slower.
Nocedal & Wright, Numerical Optimization, 2nd ed. 2006, section 12.5 (from memory).

Which contacts bear load where they are redundant: those that no motion opens without raising the
energy to first order, found by one linear program.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linprog

from snapsim.arrays import Array, BoolArray
from snapsim.landscape.constraints import TOUCH, Constraints, Limits
from snapsim.landscape.descent import Settled
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.motion import said
from snapsim.landscape.place import Place, length, metric, moved
from snapsim.landscape.symmetry import idle_directions
from snapsim.numerics.quadratic_program import minimise

STEP = 4e-3
"""Difference step over the radius of gyration."""

NEUTRAL = 1e-3
"""Stiffness below this share of load over radius of gyration counts as none: cells and contact
points leave about that much."""

StabilityVerdict = Literal["stable", "saddle", "unstable"]


@dataclass(frozen=True)
class SmallMotion:
    """A small motion: `direction` (6,) of unit length by the metric [1, rad/m]; `stiffness` [N/m];
    `frequency` [Hz] where stable and `growth` [1/s] where unstable, else nan; in `words`."""

    direction: Array
    stiffness: float
    frequency: float
    growth: float
    words: str


@dataclass(frozen=True)
class Stability:
    """`modes` by rising stiffness; `neutral` is how many of them count as having none."""

    verdict: StabilityVerdict
    modes: tuple[SmallMotion, ...]
    neutral: int

    @property
    def unstable(self) -> tuple[SmallMotion, ...]:
        """The modes along which it leaves."""
        return tuple(mode for mode in self.modes if np.isfinite(mode.growth))


def stability(landscape: EnergyLandscape, constraints: Constraints, rest: Settled) -> Stability:
    """Classify a rest found by `descent.settle` on the same landscape."""
    reduced = Reduced(landscape, constraints, rest)
    stiffness, vectors = reduced.modes()
    load = float(np.linalg.norm(rest.level.force))
    load += landscape.mass * float(np.linalg.norm(landscape.system.gravity))
    floor = NEUTRAL * load / landscape.radius
    modes = []
    for k, vector in zip(stiffness.tolist(), vectors, strict=True):
        rate = float(np.sqrt(abs(k) / landscape.mass))
        direction = vector
        if k < -floor:
            direction = reduced.downhill(vector)
        modes.append(
            SmallMotion(
                direction,
                k,
                rate / (2 * np.pi) if k > floor else np.nan,
                rate if k < -floor else np.nan,
                said(direction, rest.place, reduced.touching, landscape.body),
            )
        )
    leaving = sum(np.isfinite(m.growth) for m in modes)
    staying = sum(np.isfinite(m.frequency) for m in modes)
    verdict: StabilityVerdict = "stable"
    if leaving:
        verdict = "saddle" if staying or reduced.bears_load else "unstable"
    return Stability(verdict, tuple(modes), len(modes) - leaving - staying)


class Reduced:
    """The energy as a function of the motions that loaded contacts leave."""

    def __init__(self, landscape: EnergyLandscape, constraints: Constraints, rest: Settled) -> None:
        self.landscape, self.constraints, self.rest = landscape, constraints, rest
        self.place = rest.place
        self.measure = metric(landscape.body, self.place)
        self.touching = constraints.limits(self.place, 1e-5).touching(5 * TOUCH)
        idle = None if constraints.joints else idle_directions(landscape.body)
        self.idle = np.zeros((0, 6)) if idle is None else idle(self.place)
        self.push = self._borne()
        strong = self.touching.jacobian[self._loaded()]
        self.bears_load = len(strong) > 0
        kept = np.vstack([strong, self.touching.equality, self.idle])
        self.basis = free_motions(kept, self.measure)
        self.step = STEP * landscape.radius
        self._known: dict[bytes, float] = {}

    def _borne(self) -> Array:
        """The part (6,) of the slope that closed rows bear."""
        t = self.touching
        if not len(t.gap):
            return np.zeros(6)
        steep = self.rest.level.slope
        scale = self.measure * (1e3 * float(np.abs(steep).max()) + 1e-9) / self.landscape.radius
        equality = np.vstack([t.equality, self.idle])
        none = np.zeros(len(equality))
        found = minimise(scale, steep, t.jacobian, np.zeros(len(t.gap)), equality, none)
        if found is None:
            return np.zeros(6)
        borne: Array = t.jacobian.T @ found.multiplier
        return borne

    def _loaded(self) -> BoolArray:
        """Which of the touching rows no motion opens for nothing."""
        rows, equality = self.touching.jacobian, np.vstack([self.touching.equality, self.idle])
        count = len(rows)
        if not count:
            return np.zeros(0, dtype=bool)
        scale = np.repeat([1.0, 1 / self.landscape.radius], 3)
        j, size = rows * scale, float(np.linalg.norm(self.push)) + 1e-12
        a = np.vstack(
            [np.hstack([-j, np.eye(count)]), [*(self.push * scale / size), *[0.0] * count]]
        )
        none = np.zeros((len(equality), count))
        found = linprog(
            np.concatenate([np.zeros(6), -np.ones(count)]),
            A_ub=a,
            b_ub=np.concatenate([np.zeros(count), [1e-7]]),
            A_eq=np.hstack([equality * scale, none]) if len(equality) else None,
            b_eq=np.zeros(len(equality)) if len(equality) else None,
            bounds=[(-1e3, 1e3)] * 6 + [(0.0, 1.0)] * count,
        )
        if not found.success:
            return np.ones(count, dtype=bool)
        loaded: BoolArray = np.asarray(found.x)[6:] < 1e-2
        return loaded

    def energy(self, t: Array) -> float:
        """Energy [J] at t (j,) [m]."""
        key = np.round(t / self.step).astype(np.int64).tobytes()
        if key not in self._known:
            self._known[key] = self.landscape.at(self.at(t)).energy
        return self._known[key]

    def at(self, t: Array) -> Place:
        """The place at t (j,): loaded contacts kept closed."""
        place = moved(self.place, self.basis @ t)
        size = max(float(np.linalg.norm(self.push)), 1e-9)
        across = self.basis.T @ self.measure
        for _ in range(12):
            limits: Limits = self.constraints.limits(place, 1e-3)
            measure = metric(self.landscape.body, place)
            equality = np.vstack([limits.equality, across, self.idle])
            wanted = np.concatenate([-limits.misfit, np.zeros(len(across) + len(self.idle))])
            bent = measure * size / (0.2 * self.landscape.radius)
            found = minimise(bent, self.push, limits.jacobian, -limits.gap, equality, wanted)
            if found is None:
                return self.constraints.restored(place) or place
            place = moved(place, found.d)
            if length(found.d, measure) < 1e-11:
                break
        return place

    def modes(self) -> tuple[Array, Array]:
        """Stiffness (j,) [N/m], rising, and directions (j, 6)."""
        count, h = self.basis.shape[1], self.step
        unit = h * np.eye(count)
        middle = self.energy(np.zeros(count))
        matrix = np.zeros((count, count))
        for i in range(count):
            both = self.energy(unit[i]) + self.energy(-unit[i])
            matrix[i, i] = (both - 2 * middle) / h**2
        for i in range(count):
            for k in range(i):
                both = self.energy(unit[i] + unit[k]) + self.energy(-unit[i] - unit[k])
                mixed = (both - 2 * middle) / h**2
                matrix[i, k] = matrix[k, i] = 0.5 * (mixed - matrix[i, i] - matrix[k, k])
        values, vectors = np.linalg.eigh(matrix)
        return values, (self.basis @ vectors).T

    def downhill(self, vector: Array) -> Array:
        """The direction or its opposite, whichever falls more over a few steps."""
        t = self.basis.T @ self.measure @ vector * 4 * self.step
        ahead, behind = (self.landscape.at(self.at(s * t)).energy for s in (1.0, -1.0))
        return vector if ahead <= behind else -vector


def free_motions(rows: Array, measure: Array) -> Array:
    """Return a basis (6, j), orthonormal by the metric, of the changes d with rows d = 0."""
    root = np.linalg.cholesky(measure)
    scaled = np.linalg.solve(root, rows.T).T  # rows L^-T
    length_ = np.linalg.norm(scaled, axis=1, keepdims=True)
    scaled = scaled / np.maximum(length_, 1e-300)
    basis = np.eye(6)
    if len(rows):
        _, size, vt = np.linalg.svd(scaled)
        basis = vt[int(np.sum(size > 1e-4)) :].T
    found: Array = np.linalg.solve(root.T, basis)
    return found
