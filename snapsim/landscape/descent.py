"""Downhill to a rest: least energy under contacts and joints, from a given place.

    minimise  s.d + d.B d/2   subject to   gap + J d >= 0,  misfit + C d = 0        (each step)
    rest:     s = J^T p + C^T q,   p >= 0,   p gap = 0,   gaps >= 0

s the slope dU/dd (6,), B a positive definite model of its second derivatives, p the contact forces
[N] (tensions of strings, torques of stops), d a change of place. First steps of a set length down
the slope (B a multiple of the metric of `place`), then steps with B = c |H|, |H| the second
derivatives with their eigenvalues made positive along the motions that the pressed contacts leave,
so that a start on a line of symmetry stays there and finds the saddle on it. c shrinks where the
energy falls by more than foreseen and grows where by less; steps are kept within a length that does
likewise (trust region). After each step overlaps are taken out exactly. Friction is left out.
Sequential quadratic programming: Nocedal & Wright, Numerical Optimization, 2nd ed. 2006, ch. 18 and
section 4.1 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.energy import EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place, length
from snapsim.numerics.quadratic_program import Program, minimise

DescentOutcome = Literal["rest", "away", "unfinished"]

NOISE = 2e-10
"""Share of the energy by which two evaluations may differ for no reason."""

BALANCED = 1e-5
"""Share of the load that a rest may leave unbalanced."""

FINE = 0.02
"""Share of the longest step at which a slide ends and second derivatives take over."""

OPEN = 0.2
"""Longest step of a slide over the gap to the nearest body, where that is more than the longest."""


@dataclass(frozen=True)
class Settled:
    """Where a descent ended: `place`, its `level`, the rows `limits` near it and their
    `multiplier` (k,) [N, N m]; `unbalanced` [N] is the load that nothing bears; `steps` taken.

    `outcome`: "rest", "away" (it left the scene), or "unfinished".
    """

    place: Place
    level: EnergyLevel
    limits: Limits
    multiplier: Array
    unbalanced: float
    steps: int
    outcome: DescentOutcome


@dataclass(frozen=True)
class DescentSettings:
    """`longest` step [m]; `shortest` [m], at which the descent is given up; `most` steps in all;
    `newton` of them with second derivatives;
    `far` [m], the distance from the scene's middle at which a body is gone; `idle` gives the
    directions (j, 6) that make no difference at a place and are kept out of all steps."""

    longest: float
    far: float
    shortest: float = 1e-9
    most: int = 400
    newton: int = 40
    idle: Callable[[Place], Array] | None = None


def settle(
    landscape: EnergyLandscape,
    constraints: Constraints,
    place: Place,
    settings: DescentSettings,
    watch: Callable[[Place], bool] | None = None,
) -> Settled:
    """Descend from a place without overlap; `watch` ends the descent early where it says True."""
    return _Descent(landscape, constraints, settings, watch).run(place)


class _Descent:
    def __init__(
        self,
        landscape: EnergyLandscape,
        constraints: Constraints,
        settings: DescentSettings,
        watch: Callable[[Place], bool] | None,
    ) -> None:
        self.landscape, self.constraints = landscape, constraints
        self.settings, self.watch = settings, watch
        self.steps = 0

    def run(self, place: Place) -> Settled:
        """First-order steps, then second-order ones."""
        level = self.landscape.at(place)
        place, level, outcome = self._slide(place, level)
        if outcome == "unfinished":
            return self._refine(place, level)
        return self._ended(place, level, outcome)

    def _slide(self, place: Place, level: EnergyLevel) -> tuple[Place, EnergyLevel, DescentOutcome]:
        """Go down by steps of a set length until they no longer pay.

        `ease` is the share of the slope that contacts do not bear: without it a part pressed
        against a pole by its pull would slide along it by hundredths of the step.
        """
        step, s, ease = self.settings.longest, self.settings, 1.0
        while self.steps < s.most and step > FINE * s.longest:
            longest = self._longest(place)
            if self._gone(place):
                return place, level, "away"
            if self.watch is not None and self.watch(place):
                return place, level, "rest"
            measure = self.landscape.measure(place)
            bent = measure * (ease * self._steepness(level, measure) / step)
            program, _ = self._program(place, level, bent, step)
            self.steps += 1
            if program is None:
                step *= 0.5
                continue
            share = length(program.d, measure) / step
            if share > 1.5:
                ease = min(1.0, share * ease)
                continue
            tried = self._step(place, level, program.d, bent, 0.1)
            if tried is None:
                step, ease = 0.5 * step, min(1.0, 2 * ease)
                continue
            if ease * share < 0.02:
                return *tried, "unfinished"
            ease = max(ease * share, 0.02)
            place, level = tried
            step = min(1.5 * step, longest)
        return place, level, "unfinished"

    def _longest(self, place: Place) -> float:
        """The longest step [m] at a place: in the open a share of the way to what is nearest."""
        nearest = float(self.constraints.gaps(place).min(initial=np.inf))
        return max(self.settings.longest, OPEN * min(nearest, self.settings.far))

    def _refine(self, place: Place, level: EnergyLevel) -> Settled:
        """Go on with second derivatives until the loads balance."""
        reach, s, trust = self.settings.longest, self.settings, 1.0
        pressed = self._pressed(place, level)
        hessian: Array | None = None
        for _ in range(s.newton):
            self.steps += 1
            measure = self.landscape.measure(place)
            if hessian is None:
                floor = 1e-3 * self._load(level) / self.landscape.radius
                hessian = upright(self.landscape.hessian(place), measure, pressed, floor)
            bent = trust * hessian
            program, limits = self._program(place, level, bent, reach)
            if program is None:
                reach *= 0.25
                if reach < s.shortest:
                    break
                continue
            left = self._unbalanced(level, program, limits, measure)
            small = length(program.d, measure) < 1e-6 and left <= BALANCED * self._load(level)
            if small or self._foreseen(level, program.d, bent) < self._noise(level):
                return Settled(place, level, limits, program.multiplier, left, self.steps, "rest")
            # nearer points of a feasible step meet the linear conditions too
            d = program.d * min(1.0, reach / max(length(program.d, measure), 1e-300))
            tried = self._step(place, level, d, bent, 0.05)
            if tried is None:
                reach = 0.25 * min(reach, length(d, measure))
                if reach < s.shortest:
                    break
                continue
            foreseen = max(self._foreseen(level, d, bent), 1e-300)
            fallen = (level.energy - tried[1].energy) / foreseen
            trust = max(trust / 3, 1e-4) if fallen > 1.4 else trust
            trust = min(3 * trust, 1.0) if fallen < 0.7 else trust
            pressed = limits.jacobian[program.multiplier > 1e-6 * self._load(level)]
            place, level = tried
            reach, hessian = min(2 * reach, s.longest), None
            if self._gone(place):
                return self._ended(place, level, "away")
        return self._ended(place, level, "unfinished")

    def _pressed(self, place: Place, level: EnergyLevel) -> Array:
        """Rows (k, 6) that a short step down the slope presses against."""
        measure, short = self.landscape.measure(place), 1e-4 * self.settings.longest
        bent = measure * (self._steepness(level, measure) / short)
        program, limits = self._program(place, level, bent, short)
        if program is None:
            return np.zeros((0, len(level.slope)))
        pressed: Array = limits.jacobian[program.multiplier > 1e-6 * self._load(level)]
        return np.vstack([pressed, limits.equality])

    def _program(
        self, place: Place, level: EnergyLevel, bent: Array, step: float
    ) -> tuple[Program | None, Limits]:
        limits = self.constraints.limits(place, 4 * step + 1e-5)
        if self.settings.idle is not None:
            idle = self.settings.idle(place)
            limits = replace(
                limits,
                equality=np.vstack([limits.equality, idle]),
                misfit=np.concatenate([limits.misfit, np.zeros(len(idle))]),
            )
        low = -np.maximum(limits.gap, 0.0)
        found = minimise(bent, level.slope, limits.jacobian, low, limits.equality, -limits.misfit)
        return found, limits

    def _step(
        self, place: Place, level: EnergyLevel, d: Array, bent: Array, share: float
    ) -> tuple[Place, EnergyLevel] | None:
        """The place after a step, overlaps taken out, if the energy fell enough."""
        size = length(d, self.landscape.measure(place))
        there = self.constraints.restored(self.landscape.moved(place, d), 0.5 * size + 1e-6)
        if there is None:
            return None
        new = self.landscape.at(there)
        gained = level.energy - new.energy
        if gained < share * self._foreseen(level, d, bent) - self._noise(level):
            return None
        return there, new

    def _foreseen(self, level: EnergyLevel, d: Array, bent: Array) -> float:
        """Energy [J] that the model says the step sets free."""
        return -float(level.slope @ d + 0.5 * d @ bent @ d)

    def _noise(self, level: EnergyLevel) -> float:
        return NOISE * (abs(level.magnetic) + self._load(level) * self.landscape.radius)

    def _steepness(self, level: EnergyLevel, measure: Array) -> float:
        """Length of the slope by the metric [N]."""
        return float(np.sqrt(level.slope @ np.linalg.solve(measure, level.slope))) + 1e-12

    def _load(self, level: EnergyLevel) -> float:
        """Size of what acts on the body [N]."""
        weight = self.landscape.mass * float(np.linalg.norm(self.landscape.system.gravity))
        pull = float(np.linalg.norm(level.force))
        return weight + pull + float(np.linalg.norm(level.torque)) / self.landscape.radius

    def _unbalanced(
        self, level: EnergyLevel, program: Program, limits: Limits, measure: Array
    ) -> float:
        """Length of slope - J^T p with what equalities bear taken out [N]."""
        left = level.slope - limits.jacobian.T @ program.multiplier
        equality = limits.equality
        if len(equality):
            response = np.linalg.solve(measure, equality.T)
            left = left - equality.T @ np.linalg.lstsq(
                equality @ response, response.T @ left, rcond=1e-10
            )[0]  # fmt: skip
        return float(np.sqrt(np.maximum(left @ np.linalg.solve(measure, left), 0.0)))

    def _gone(self, place: Place) -> bool:
        return self.landscape.gone(place, self.settings.far)

    def _ended(self, place: Place, level: EnergyLevel, outcome: DescentOutcome) -> Settled:
        limits = self.constraints.limits(place, 1e-6)
        none = np.zeros(len(limits.gap))
        return Settled(place, level, limits, none, np.inf, self.steps, outcome)


def upright(hessian: Array, measure: Array, pressed: Array, floor: float) -> Array:
    """Return the second derivatives with their eigenvalues, by the metric, made positive.

    Along the motions that the `pressed` rows (k, 6) leave free they are those of these motions
    alone; across them, where contacts decide, the largest. None is smaller than `floor` [N/m].
    """
    root = np.linalg.cholesky(measure)
    scaled = np.linalg.solve(root, np.linalg.solve(root, hessian).T)
    across, along = _split(np.linalg.solve(root, pressed.T).T)
    values, vectors = np.linalg.eigh(along @ scaled @ along.T)
    size = np.abs(values)
    largest = max(float(np.abs(np.linalg.eigvalsh(scaled)).max()), floor)
    size = np.maximum(size, floor)
    turned = vectors.T @ along
    positive = turned.T @ (size[:, None] * turned) + largest * across.T @ across
    found: Array = root @ positive @ root.T
    return found


def _split(rows: Array) -> tuple[Array, Array]:
    """Return orthonormal bases, as rows, of the span of `rows` (k, 6) and of what is across it."""
    if not len(rows):
        return np.zeros((0, rows.shape[1])), np.eye(rows.shape[1])
    _, size, vt = np.linalg.svd(rows)
    rank = int(np.sum(size > 1e-6 * max(float(size[0]), 1e-300)))
    return vt[:rank], vt[rank:]
