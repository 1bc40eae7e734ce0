"""Where a part ends that is let go: slow motion down the energy with Coulomb friction.

    v = W (f dt + G^T p),    d = v dt                      each step, from rest

f (6,) the load [N, N m] on the body, W its inverse mass (6, 6) less what its joints keep, G the
rows of contacts and strings, p impulses by Signorini's and Coulomb's laws
(`mechanics.cone_complementarity`), d the change of place: every step is the first moment of a
release from rest, so the way starts as a true release does, sticks where friction holds and slides
where it does not. Joints that rub take their Coulomb friction off the motion that all else leaves.
Speed gained before is left out: a part that would carry on by its swing stops
short here.

A snap, wherever this package speaks of one: let go at rest, the body ends touching a magnet (or,
being a magnet, touching iron) that it did not touch before. Here it is decided by creeping;
`release` decides it by the full motion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from snapsim.arrays import Array, as_floats
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.energy import EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place, length, metric, moved
from snapsim.mechanics.cone_complementarity import solve_contacts
from snapsim.mechanics.delassus import contact_frames
from snapsim.mechanics.linkage import Elimination

STRUCK = 1e-5
"""Gap [m] at which a body counts as having reached another."""

OPEN = 0.15
"""Longest step over the gap to the nearest body, where that is more than the longest of all."""

HELD = 1e-5
"""Share of the free motion that is left where friction or contacts hold a body."""

MOST_STRETCH = 100.0
"""How much farther than the longest step a free body may go in the time of a held one."""

CreepFate = Literal["snaps", "stays", "goes away", "unfinished"]


@dataclass(frozen=True)
class Crept:
    """How a creep ended: `fate`, the `place` and its `level`, `struck` (number of the body reached
    in a snap), joints that gave way by number, `steps`, and the `way` (places passed)."""

    fate: CreepFate
    place: Place
    level: EnergyLevel
    struck: int | None
    parted: frozenset[int]
    steps: int
    way: tuple[Place, ...]


@dataclass(frozen=True)
class CreepSettings:
    """`longest` step [m] near other bodies; `most` steps; `far` [m] from the scene's middle is
    gone; `friction` False leaves friction out."""

    longest: float
    far: float
    most: int = 600
    friction: bool = True


@dataclass(frozen=True)
class CreepStep:
    """One step: change `d` (6,), the share of the free motion that it is, and the `pull` (j,) [N]
    of each one-sided joint row."""

    d: Array
    share: float
    pull: Array


def attractors(landscape: EnergyLandscape) -> frozenset[int]:
    """Return the numbers of the bodies that reaching is a snap."""
    own, found = landscape.body, []
    for i, other in enumerate(landscape.system.bodies):
        drawn = own.is_soft or own.is_magnet
        if (other.is_magnet and drawn) or (own.is_magnet and other.is_soft):
            found.append(i)
    return frozenset(found) - {landscape.number}


def creep(
    landscape: EnergyLandscape,
    constraints: Constraints,
    place: Place,
    settings: CreepSettings,
) -> Crept:
    """Follow the body from rest at a place without overlap until it snaps, stays or is gone."""
    gaps = constraints.gaps(place)
    targets = attractors(landscape) - constraints.near(gaps, STRUCK)
    level, longest, way = landscape.at(place), _longest(gaps, settings), [place]
    step = longest
    parted: frozenset[int] = frozenset()
    for count in range(settings.most):
        if landscape_left(landscape, place, settings.far):
            return Crept("goes away", place, level, None, parted, count, tuple(way))
        limits = constraints.limits(place, 8 * longest)
        push = creep_step(landscape, place, level, limits, step, settings.friction)
        broken = _broken(constraints, limits, push)
        if broken:
            parted |= broken
            constraints = Constraints(constraints.system, constraints.number, parted)
            continue
        if push.share < HELD or step < 1e-3 * longest:
            return Crept("stays", place, level, None, parted, count, tuple(way))
        size = length(push.d, metric(landscape.body, place))
        if size > 1.5 * longest:
            step *= longest / size
            continue
        there = constraints.restored(moved(place, push.d), 0.5 * size + 1e-6)
        new = None if there is None else landscape.at(there)
        if there is None or new is None or new.energy > level.energy:
            step *= 0.4
            continue
        place, level = there, new
        gaps = constraints.gaps(place)
        longest = _longest(gaps, settings)
        step = min(1.4 * step, MOST_STRETCH * longest, step * longest / size)
        way.append(place)
        struck = targets & constraints.near(gaps, STRUCK)
        if struck:
            return Crept("snaps", place, level, min(struck), parted, count, tuple(way))
    return Crept("unfinished", place, level, None, parted, settings.most, tuple(way))


def _longest(gaps: Array, settings: CreepSettings) -> float:
    """The longest step [m] at these gaps: in the open a share of the way to what is nearest."""
    return max(settings.longest, OPEN * min(float(gaps.min(initial=np.inf)), settings.far))


def creep_step(
    landscape: EnergyLandscape,
    place: Place,
    level: EnergyLevel,
    limits: Limits,
    step: float,
    friction: bool = True,
) -> CreepStep:
    """Return the first motion from rest, so long that a free body would go `step` [m]."""
    measure = metric(landscape.body, place)
    inverse = as_floats(np.linalg.inv(measure))
    if len(limits.misfit):
        inverse = Elimination(limits.equality, inverse).reduced(inverse)
    free = inverse @ level.load
    size = length(free, measure)
    if size == 0.0:
        return CreepStep(np.zeros(6), 0.0, np.zeros(len(limits.joint)))
    free = free * (step / size)
    rows, p = _held_back(place, limits, inverse, free, friction, 1e-10 * step)
    borne = (rows.T @ p) * size / step
    d = free + inverse @ (rows.T @ p)
    pull = p[::3][len(limits.other) :] * size / step
    if friction and limits.rubs:
        d = _rubbed(limits, level.load + borne, d, length(d, measure) ** 2 * size / step)
    return CreepStep(d, length(d, measure) / step, pull)


def _rubbed(limits: Limits, load: Array, d: Array, driving: float) -> Array:
    """A change d (6,) less what joints' friction takes of the work `driving` [J] along it."""
    taken = limits.rubbing(load, d)
    return d * max(1.0 - taken / driving, 0.0) if driving > 0 else np.zeros(6)


def _held_back(
    place: Place, limits: Limits, inverse: Array, free: Array, friction: bool, tolerance: float
) -> tuple[Array, Array]:
    """Rows of contacts and one-sided joints (3k, 6), and what keeps the motion `free` (6,) out of
    them by friction's law (3k,); joints' rows of tangents only fill the matrix."""
    rows, rub = _rows(place, limits, friction)
    operator = rows @ inverse @ rows.T
    for k in range(len(limits.other), len(limits.gap)):
        for axis in (1, 2):
            operator[3 * k + axis, 3 * k + axis] = operator[3 * k, 3 * k]
    q = rows @ free
    q[::3] += np.maximum(limits.gap, 0.0)
    p = np.zeros(len(q))
    if len(rub):
        p, _ = solve_contacts(operator, q, rub, p, tolerance)
    return rows, p


def landscape_left(landscape: EnergyLandscape, place: Place, far: float) -> bool:
    """True where the body is farther than `far` [m] from the middle of the scene."""
    middle = landscape.system.start.pose.position.mean(axis=0)
    return float(np.linalg.norm(place.position - middle)) > far


def _rows(place: Place, limits: Limits, friction: bool) -> tuple[Array, Array]:
    """Rows (3k, 6), normal and two tangents each, and friction (k,); joints have no tangents."""
    count, contacts = len(limits.gap), len(limits.other)
    rows = np.zeros((count, 3, 6))
    frame = contact_frames(np.ascontiguousarray(limits.normal))
    rows[:contacts, :, :3] = frame
    arm = limits.point - place.position
    rows[:contacts, :, 3:] = np.cross(arm[:, None, :], frame)
    rows[contacts:, 0] = limits.jacobian[contacts:]
    rub = np.zeros(count)
    if friction:
        rub[:contacts] = limits.friction
    return rows.reshape(-1, 6), rub


def _broken(constraints: Constraints, limits: Limits, push: CreepStep) -> frozenset[int]:
    """Joints whose pull passes what they bear."""
    joints = constraints.system.joints
    over = push.pull > np.array([joints[int(j)].force_limit for j in limits.joint])
    return frozenset(int(j) for j in limits.joint[over])
