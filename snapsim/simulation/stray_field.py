"""How far the field of a scene reaches: B of all magnets and magnetised parts as placed.

    r(limit) = max over directions u of the largest r with |B(c + r u)| = limit
    b(r)     = max over directions u of |B(c + r u)|

c (3,) [m] is the centre of the magnets, weighted by their moments; B (3,) [T] from `total_field`.
Directions: points spread evenly over the sphere, the moments' own, then closer ones round the best.
Along a direction |B| is looked at from outside inwards, at steps of 5 %, and the crossing bisected.
Assumes open air: no earth's field (about 0.05 mT, from memory), no building, no iron but the
scene's. Distances come to about 0.1 %. Far away |B| falls as r^-3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.total_field import TotalField
from snapsim.simulation.system import System

DIRECTIONS = 200
ROUNDS = 3
STEP = 1.05
HALVINGS = 20


@dataclass(frozen=True)
class StrayField:
    """From `centre` (3,) [m]: `reach` (m,) [m] of each limit asked for, its `direction` (m, 3), and
    the largest flux density (k,) [T] at each distance asked for."""

    centre: Array
    reach: Array
    direction: Array
    largest: Array


def stray_field(system: System, limits: Array, distances: Array) -> StrayField | None:
    """Return how far each of `limits` (m,) [T] reaches and |B| at `distances` (k,) [m].

    None without a magnet. Solved at the scene's own pose, with draft cells: they suffice far away.
    """
    if not any(b.is_magnet for b in system.bodies):
        return None
    pose = system.start.pose
    model = MagneticModel(system.bodies, "draft", recoil=system.recoil)
    field = TotalField(system.bodies, model, pose, model.evaluate(pose))
    centre, moments, size = _centre(system)
    first = np.vstack([_spread(DIRECTIONS), moments, -moments])
    found = [_farthest(field, centre, first, size, float(b)) for b in limits]
    largest = [float(np.linalg.norm(field.b(centre + r * first), axis=1).max()) for r in distances]
    return StrayField(
        centre,
        np.array([r for r, _ in found]),
        np.array([u for _, u in found]).reshape(-1, 3),
        np.array(largest),
    )


def _centre(system: System) -> tuple[Array, Array, float]:
    """Centre of the magnets, directions of their moments (k, 3), and a size to start from [m]."""
    from snapsim.numerics import rotations

    pose = system.start.pose
    numbers = [i for i, b in enumerate(system.bodies) if b.is_magnet]
    moments = np.array(
        [
            rotations.rotate(pose.quaternion[i], system.bodies[i].magnetisation)
            * system.bodies[i].shape.volume
            for i in numbers
        ]
    )
    weight = np.linalg.norm(moments, axis=1)
    centre = weight @ pose.position[numbers] / weight.sum()
    away = np.linalg.norm(pose.position[numbers] - centre, axis=1)
    reach = [float(np.linalg.norm(system.bodies[i].shape.extents)) for i in numbers]
    return centre, moments / weight[:, None], float((away + reach).max())


def _farthest(
    field: TotalField, centre: Array, directions: Array, size: float, limit: float
) -> tuple[float, Array]:
    outer = size
    while np.linalg.norm(field.b(centre + outer * directions), axis=1).max() > limit:
        outer *= 2
    best, way = 0.0, directions[0]
    spread = 2.0 / len(directions) ** 0.5
    for _ in range(ROUNDS):
        reach = _reach(field, centre, directions, outer * STEP, limit)
        if reach.max() > best:
            best, way = float(reach.max()), directions[int(reach.argmax())]
        near = way + spread * _spread(24)
        directions = near / np.linalg.norm(near, axis=1)[:, None]
        spread *= 0.4
    return best, way


def _reach(
    field: TotalField, centre: Array, directions: Array, outer: float, limit: float
) -> Array:
    """Largest r (k,) with |B| = limit on each ray, coming from outside; 0 where none is met."""

    def beyond(r: Array) -> BoolArray:
        b: BoolArray = np.linalg.norm(field.b(centre + r[:, None] * directions), axis=1) >= limit
        return b

    high = np.full(len(directions), outer)
    low = high / STEP
    while np.any(open_ := ~beyond(low) & (low > 1e-3)):
        high = np.where(open_, low, high)
        low = np.where(open_, low / STEP, low)
    met = low > 1e-3
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        inside = beyond(middle)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return np.where(met, high, 0.0)


def _spread(count: int) -> Array:
    """Unit vectors (count, 3) spread evenly by the golden angle."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, np.pi * (1 + 5**0.5) * k
    ring = np.sqrt(1 - z * z)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), z])
