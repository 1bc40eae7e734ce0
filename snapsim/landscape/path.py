"""The way over the lowest pass between two rests, and the pass itself.

    dx_i/dt = -M^-1 (g - (g.t) M t)            images of the path, kept evenly spaced
    dx_c/dt = -M^-1 (g - 2 (g.t) M t)          the highest one climbs

g the slope dU/dd (6,), M the metric of `place`, t the unit tangent (6,) from the two neighbours,
all under contacts and joints (`constraints`): each move is the nearest to the one wanted that
overlaps nothing. Images start a hair off the guess, so that a path on a plane of symmetry can leave
it. The climbing image is then brought to the pass by Newton's method on the motions that its
contacts leave (`stability`): a rest with one unstable motion. The barrier U(pass) - U(rest) is of
second order in what is left of the error of the pass. Sources: Henkelman, Uberuaga & Jonsson, J.
Chem. Phys. 113, 9901 (2000); E, Ren & Vanden-Eijnden, J. Chem. Phys. 126, 164103 (2007) (both from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.descent import Settled
from snapsim.landscape.energy import EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place, between, difference, length, metric, moved
from snapsim.landscape.stability import Reduced, Stability, stability
from snapsim.numerics.quadratic_program import minimise

IMAGES = 17
ROUNDS = 120
HAIR = 0.02
"""Turn [rad], and displacement over the radius of gyration, of the first images."""

CALM = 0.02
"""Slope across the path, over the load, at which an image is left alone."""


@dataclass(frozen=True)
class Pass:
    """The highest point of the lowest way: `place`, its `level`, its `stability`; `steepest` [N] is
    the largest climb per metre of the metric on the way up from the first end; `places` of the path
    and `energy` (k,) [J] along it; `converged` where the pass is a rest with one unstable motion.
    """

    place: Place
    level: EnergyLevel
    stability: Stability
    steepest: float
    places: tuple[Place, ...]
    energy: Array
    converged: bool


def lowest_pass(
    landscape: EnergyLandscape, constraints: Constraints, guess: Sequence[Place]
) -> Pass | None:
    """Return the pass between the ends of a guessed path; None where that path never rises."""
    places = _shaken(landscape, constraints, evened(landscape, guess, IMAGES))
    step = 0.15 * landscape.radius
    for k in range(ROUNDS):
        levels = [landscape.at(p) for p in places]
        energy = np.array([v.energy for v in levels])
        top = int(np.argmax(energy))
        if top in (0, len(places) - 1):
            return None
        moves = [0.0]
        for i in range(1, len(places) - 1):
            there, size = _relaxed(landscape, constraints, places, levels, i, i == top, step)
            places[i] = there
            moves.append(size)
        places = _spaced(landscape, constraints, places, top)
        if k > 5 and max(moves) < 1e-2 * step:
            break
        step = max(0.95 * step, 0.01 * landscape.radius)
    levels = [landscape.at(p) for p in places]
    return _finished(landscape, constraints, places, levels)


def highest_point(
    landscape: EnergyLandscape, constraints: Constraints, places: Sequence[Place]
) -> Pass:
    """Return the top of a path as it is: an upper bound of the pass."""
    energy = np.array([landscape.at(p).energy for p in places])
    top = int(np.argmax(energy))
    rest = _as_rest(landscape, constraints, places[top], np.inf, 0)
    judged = stability(landscape, constraints, rest)
    steep = _steepest(landscape, places, energy, top)
    return Pass(rest.place, rest.level, judged, steep, tuple(places), energy, False)


def _steepest(
    landscape: EnergyLandscape, places: Sequence[Place], energy: Array, top: int
) -> float:
    """Largest climb [N] per metre of the metric on the way to the top."""
    climb = [
        (energy[i + 1] - energy[i]) / max(_apart(landscape, places[i], places[i + 1]), 1e-6)
        for i in range(top)
    ]
    return float(max(climb, default=0.0))


def _shaken(
    landscape: EnergyLandscape, constraints: Constraints, places: list[Place]
) -> list[Place]:
    """The inner images a hair aside, along an oblique change."""
    hair = HAIR * np.array([0.48, 0.64, 0.0, 0.0, 0.0, 0.0]) * landscape.radius
    hair[3:] = HAIR * np.array([0.36, 0.80, 0.48])
    inner = [constraints.restored(moved(p, hair)) or p for p in places[1:-1]]
    return [places[0], *inner, places[-1]]


def _finished(
    landscape: EnergyLandscape,
    constraints: Constraints,
    places: list[Place],
    levels: list[EnergyLevel],
) -> Pass | None:
    energy = np.array([v.energy for v in levels])
    top = int(np.argmax(energy))
    if top in (0, len(places) - 1):
        return None
    rest = polished(landscape, constraints, places[top])
    judged = stability(landscape, constraints, rest)
    if rest.level.energy < max(energy[0], energy[-1]) - 1e-12:
        return None
    places[top] = rest.place
    energy[top] = rest.level.energy
    return Pass(
        rest.place,
        rest.level,
        judged,
        _steepest(landscape, places, energy, top),
        tuple(places),
        energy,
        rest.outcome == "rest" and len(judged.unstable) == 1,
    )


def polished(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, rounds: int = 12
) -> Settled:
    """Return the rest nearest to a place, of whatever kind, by Newton's method."""
    longest = 0.1 * landscape.radius
    settled = _as_rest(landscape, constraints, place, np.inf, 0)
    for count in range(rounds):
        reduced = Reduced(landscape, constraints, settled)
        values, vectors = reduced.modes()
        slope = vectors @ settled.level.slope
        floor = 1e-3 * float(np.abs(values).max(initial=1e-9))
        size = np.where(np.abs(values) < floor, np.inf, values)
        change = -(slope / size) @ vectors
        far = length(change, reduced.measure)
        left = float(np.linalg.norm(slope[np.abs(values) >= floor]))
        load = float(np.linalg.norm(settled.level.slope[:3])) + float(
            np.linalg.norm(settled.level.force)
        )
        if left < 1e-4 * load:
            return _as_rest(landscape, constraints, settled.place, left, count)
        t = reduced.basis.T @ reduced.measure @ change * min(1.0, longest / max(far, 1e-300))
        settled = _as_rest(landscape, constraints, reduced.at(t), left, count)
    return _as_rest(landscape, constraints, settled.place, np.inf, rounds)


def _as_rest(
    landscape: EnergyLandscape, constraints: Constraints, place: Place, left: float, count: int
) -> Settled:
    limits = constraints.limits(place, 1e-6)
    none = np.zeros(len(limits.gap))
    outcome = "rest" if np.isfinite(left) else "unfinished"
    return Settled(place, landscape.at(place), limits, none, left, count, outcome)  # type: ignore[arg-type]


def _relaxed(
    landscape: EnergyLandscape,
    constraints: Constraints,
    places: list[Place],
    levels: list[EnergyLevel],
    i: int,
    climbs: bool,
    step: float,
) -> tuple[Place, float]:
    """One image moved across the path, or up along it."""
    place, measure = places[i], metric(landscape.body, places[i])
    tangent = _tangent(places, levels, i)
    tangent = tangent / max(length(tangent, measure), 1e-300)
    slope = levels[i].slope
    wanted = slope - (2.0 if climbs else 1.0) * (slope @ tangent) * (measure @ tangent)
    limits = constraints.limits(place, 4 * step + 1e-5)
    size = float(np.sqrt(wanted @ np.linalg.solve(measure, wanted)))
    load = float(np.linalg.norm(levels[i].force)) + landscape.mass * 9.81
    if size < CALM * 1e-2 * load:
        return place, 0.0
    stiff = max(size / step, load / landscape.radius)
    low = -np.maximum(limits.gap, 0.0)
    found = minimise(stiff * measure, wanted, limits.jacobian, low, limits.equality, -limits.misfit)
    if found is None:
        return place, 0.0
    there = constraints.restored(moved(place, found.d), step)
    return (place, 0.0) if there is None else (there, length(found.d, measure))


def _tangent(places: list[Place], levels: list[EnergyLevel], i: int) -> Array:
    """Toward the higher neighbour; at a top or a bottom the mean of both, weighted by energy."""
    ahead, behind = difference(places[i + 1], places[i]), difference(places[i], places[i - 1])
    up, down = levels[i + 1].energy - levels[i].energy, levels[i].energy - levels[i - 1].energy
    if up > 0 and down > 0:
        return ahead
    if up < 0 and down < 0:
        return behind
    high, low = max(abs(up), abs(down)), min(abs(up), abs(down))
    rising = levels[i + 1].energy > levels[i - 1].energy
    tangent: Array = (high if rising else low) * ahead + (low if rising else high) * behind
    return tangent if np.any(tangent) else ahead


def _apart(landscape: EnergyLandscape, one: Place, other: Place) -> float:
    return length(difference(other, one), metric(landscape.body, one))


def evened(landscape: EnergyLandscape, places: Sequence[Place], count: int) -> list[Place]:
    """Return `count` places evenly spaced along a path, its ends kept."""
    steps = [_apart(landscape, a, b) for a, b in pairwise(places)]
    along = np.concatenate([[0.0], np.cumsum(steps)])
    found = []
    for s in np.linspace(0.0, along[-1], count):
        k = int(np.clip(np.searchsorted(along, s, side="right") - 1, 0, len(places) - 2))
        share = (s - along[k]) / max(along[k + 1] - along[k], 1e-300)
        found.append(between(places[k], places[k + 1], float(np.clip(share, 0.0, 1.0))))
    return found


def _spaced(
    landscape: EnergyLandscape, constraints: Constraints, places: list[Place], top: int
) -> list[Place]:
    """Images spaced evenly on either side of the climbing one, overlaps taken out."""
    before = evened(landscape, places[: top + 1], top + 1)
    after = evened(landscape, places[top:], len(places) - top)
    found = [places[0]]
    for place, old in zip([*before[1:-1], places[top], *after[1:-1]], places[1:-1], strict=True):
        found.append(constraints.restored(place, landscape.radius) or old)
    return [*found, places[-1]]
