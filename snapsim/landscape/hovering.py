"""Places where a part would hang free, held by field and weight alone: where F = -m g and T = 0.

Newton's method on the slope of `energy`, d = -H^+ dU/dd, from lines through the magnets' middles
along their axes, steps bounded. Such places tell where a drop turns into a leap. None is stable for
iron or a magnet in a static field (Earnshaw, Trans. Camb. Phil. Soc. 7, 97 (1842); for soft iron
Braunbek, Z. Phys. 112, 753 (1939); both from memory): `stability` finds which way each one leaves.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import attractors
from snapsim.landscape.descent import Settled
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place, length, metric, moved
from snapsim.landscape.starts import distinct_turns
from snapsim.landscape.symmetry import idle_directions
from snapsim.numerics import rotations

DISTANCES = (0.6, 1.0, 1.5, 2.2)
"""Distances of the first guesses from a magnet's middle, over the half sizes of both bodies."""

ROUNDS = 25
BALANCED = 1e-7


def hovering(landscape: EnergyLandscape, constraints: Constraints) -> Iterator[Settled]:
    """Yield free rests, with repetitions; nothing for a part with joints or without weight."""
    if constraints.joints or not np.any(landscape.system.gravity):
        return
    for place in _guesses(landscape):
        found = balance(landscape, constraints, place)
        if found is not None:
            yield found


def balance(landscape: EnergyLandscape, constraints: Constraints, place: Place) -> Settled | None:
    """Return the free rest that Newton's method reaches from a place; None for none."""
    idle = idle_directions(landscape.body)
    weight = landscape.mass * float(np.linalg.norm(landscape.system.gravity))
    longest = 0.3 * landscape.radius
    for count in range(ROUNDS):
        level, measure = landscape.at(place), metric(landscape.body, place)
        scaled = np.linalg.cholesky(measure)
        slope = np.linalg.solve(scaled, level.slope)
        if float(np.linalg.norm(slope)) < BALANCED * weight:
            if constraints.gaps(place).min(initial=np.inf) <= 0:
                return None
            limits = constraints.limits(place, 0.0)
            return Settled(place, level, limits, np.zeros(0), 0.0, count, "rest")
        hessian = landscape.hessian(place)
        bent = np.linalg.solve(scaled, np.linalg.solve(scaled, hessian).T)
        if idle is not None:
            dead = idle(place) @ np.linalg.inv(scaled).T
            dead = dead / np.linalg.norm(dead, axis=1, keepdims=True)
            keep = np.eye(6) - dead.T @ dead
            bent, slope = keep @ bent @ keep, keep @ slope
        d = np.linalg.solve(scaled.T, -np.linalg.pinv(bent, rcond=1e-8) @ slope)
        size = length(d, measure)
        place = moved(place, d * min(1.0, longest / max(size, 1e-300)))
        if constraints.gaps(place).min(initial=np.inf) < -longest:
            return None
    return None


def _guesses(landscape: EnergyLandscape) -> Iterator[Place]:
    """Places on the lines through magnets' middles along their axes, not level ones."""
    pose = landscape.system.start.pose
    gravity = landscape.system.gravity / np.linalg.norm(landscape.system.gravity)
    reach = float(np.max(landscape.body.shape.extents))
    for i in sorted(attractors(landscape)):
        frame = rotations.matrix(pose.quaternion[i])
        half = landscape.system.bodies[i].shape.extents
        for k, axis in enumerate(frame.T):
            if abs(axis @ gravity) < 0.5:
                continue
            for turn in distinct_turns(landscape, frame):
                for share in DISTANCES:
                    for sense in (1.0, -1.0):
                        far = half[k] + share * (reach + half[k])
                        yield Place(pose.position[i] + sense * far * axis, turn)
