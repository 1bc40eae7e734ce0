"""How far the field of a scene reaches: B of all magnets and magnetised parts as placed.

    b(r)     = max over directions u of |B(c + r u)|
    r(limit) = the largest r with b(r) = limit

c (3,) [m] is the centre of the magnets, weighted by their moments; B (3,) [T] from `quick_field`.
Outside a sphere round everything magnetised every component of B is harmonic and vanishes far away,
so |B|^2 has no maximum there (maximum principle for subharmonic functions; Axler, Bourdon & Ramey,
Harmonic Function Theory, 2nd ed., ch. 1; from memory): b falls all the way out, each limit is met
once, and is found between bounds by the secant rule in log r and log b. A limit that is not met
outside that sphere is looked for within, on rays from outside inwards by 5 %, and bisected; iron
seen under less than 8 degrees from c may lie between two rays there.
Directions: points spread evenly over the sphere, the moments' own, then closer ones round the best.
Assumes open air: no earth's field (about 0.05 mT, from memory), no building, no iron but the
scene's. Distances come to about 0.1 %. Far away |B| falls as r^-3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.quick_field import QuickField
from snapsim.simulation.system import System

DIRECTIONS = 200
ROUNDS = 2
STEP = 1.05
HALVINGS = 20
CLOSE = 1e-5
"""Share of a limit, or of the distance, to which a limit's distance is found."""

Strength = Callable[[Array], Array]
"""|B| (k,) [T] at world points (k, 3) [m]."""


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
    strength = _strength(system)
    centre, moments, size = _centre(system)
    sphere = _Sphere(strength, centre, np.vstack([_spread(DIRECTIONS), moments, -moments]))
    found = [_farthest(sphere, size, float(b)) for b in limits]
    return StrayField(
        centre,
        np.array([r for r, _ in found]),
        np.array([u for _, u in found]).reshape(-1, 3),
        np.array([sphere.largest(float(r))[0] for r in distances]),
    )


def _strength(system: System) -> Strength:
    pose = system.start.pose
    model = MagneticModel(system.bodies, "draft", recoil=system.recoil)
    numbers = (*model.soft, *model.recoiling)
    solved = dict(zip(numbers, model.evaluate(pose).magnetisation, strict=True))
    field = QuickField(system.bodies, {i: model.cells[i] for i in numbers})
    b = field.at(pose.position, pose.quaternion, solved)
    return lambda points: np.linalg.norm(b(points), axis=1)


class _Sphere:
    """|B| over spheres round `centre`, looked at in the `directions` (k, 3) first."""

    def __init__(self, strength: Strength, centre: Array, directions: Array) -> None:
        self.strength, self.centre, self.directions = strength, centre, directions

    def largest(self, r: float) -> tuple[float, Array]:
        """Return the largest |B| [T] at distance `r` [m], and its direction (3,)."""
        directions, spread = self.directions, 2.0 / len(self.directions) ** 0.5
        best, way = 0.0, directions[0]
        for _ in range(1 + ROUNDS):
            b = self.strength(self.centre + r * directions)
            if b.max() > best:
                best, way = float(b.max()), directions[int(b.argmax())]
            directions, spread = _round(way, spread), 0.4 * spread
        return best, way


def magnets_centre(system: System) -> Array | None:
    """Return the centre (3,) [m] of the magnets, weighted by their moments; None without one."""
    if not any(b.is_magnet for b in system.bodies):
        return None
    return _weighed(system)[0]


def _weighed(system: System) -> tuple[Array, Array]:
    """Centre of the magnets (3,) and the directions of their moments (k, 3)."""
    from snapsim.numerics import rotations

    pose = system.start.pose
    numbers = [i for i, b in enumerate(system.bodies) if b.is_magnet]
    moments = np.array(
        [rotations.rotate(pose.quaternion[i], system.bodies[i].moment) for i in numbers]
    )
    weight = np.linalg.norm(moments, axis=1)
    return weight @ pose.position[numbers] / weight.sum(), moments / weight[:, None]


def _centre(system: System) -> tuple[Array, Array, float]:
    """Centre of the magnets, directions of their moments (k, 3), and the radius [m] of a sphere
    round it that holds all that is magnetised."""
    pose = system.start.pose
    centre, directions = _weighed(system)
    held = [i for i, b in enumerate(system.bodies) if b.is_magnet or b.is_soft]
    away = np.linalg.norm(pose.position[held] - centre, axis=1)
    reach = [float(np.linalg.norm(system.bodies[i].shape.extents)) for i in held]
    return centre, directions, float((away + reach).max())


def _farthest(sphere: _Sphere, size: float, limit: float) -> tuple[float, Array]:
    """Distance [m] out to which `limit` [T] is met, and its direction (3,)."""
    low, (b_low, way) = size, sphere.largest(size)
    if b_low <= limit:
        return _within(sphere, size, limit)
    high, b_high = low, b_low
    while b_high > limit:
        low, b_low = high, b_high
        high = low * max(1.02 * (b_low / limit) ** (1 / 3), STEP)
        b_high, way = sphere.largest(high)
    while high / low - 1.0 > CLOSE:
        share = np.log(b_low / limit) / np.log(b_low / b_high)
        r = low * (high / low) ** float(np.clip(share, 0.01, 0.99))
        b, here = sphere.largest(r)
        if abs(b / limit - 1.0) < CLOSE:
            return r, here
        if b > limit:
            low, b_low = r, b
        else:
            high, b_high, way = r, b, here
    return high, way


def _within(sphere: _Sphere, size: float, limit: float) -> tuple[float, Array]:
    """The same inside the sphere of radius `size`, along rays."""
    directions, spread = sphere.directions, 2.0 / len(sphere.directions) ** 0.5
    best, way = 0.0, directions[0]
    for _ in range(1 + ROUNDS):
        reach = _reach(sphere, directions, size * STEP, limit)
        if reach.max() > best:
            best, way = float(reach.max()), directions[int(reach.argmax())]
        directions, spread = _round(way, spread), 0.4 * spread
    return best, way


def _round(way: Array, spread: float) -> Array:
    """Directions (24, 3) round one."""
    near = way + spread * _spread(24)
    found: Array = near / np.linalg.norm(near, axis=1)[:, None]
    return found


def _reach(sphere: _Sphere, directions: Array, outer: float, limit: float) -> Array:
    """Largest r (k,) with |B| = limit on each ray, coming from outside; 0 where none is met."""

    def beyond(r: Array) -> BoolArray:
        b = sphere.strength(sphere.centre + r[:, None] * directions)
        found: BoolArray = b >= limit
        return found

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
