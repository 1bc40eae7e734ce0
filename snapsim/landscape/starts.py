"""Where the search for rests begins: spread evenly, and on the scene's lines of symmetry.

Spread: scrambled Sobol points (Owen 1998; scipy.stats.qmc), three numbers for the place in a box
round the magnets, three for a rotation uniform over all of them (Shoemake, Graphics Gems III, 1992,
III.6; both from memory). On symmetry: the part with its axes along those of a magnet, before the
middle of each of its faces and, in line with it, on top of whatever else is there: a descent from
there ends on a saddle where there is one. With a hinge or a slide: steps along what it leaves free.
Overlapping starts are left out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.stats import qmc

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import attractors
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place, metric, moved
from snapsim.landscape.stability import free_motions
from snapsim.landscape.symmetry import (
    apart,
    rotations_from,
    shape_symmetries,
    unspun,
)
from snapsim.numerics import rotations
from snapsim.parts.shapes.symmetry import signed_axes

MARGIN = 1e-4
"""Gap [m] at which a symmetric start is set before a face."""


def starts(
    landscape: EnergyLandscape, constraints: Constraints, count: int, seed: int
) -> list[Place]:
    """Return the present place, symmetric starts and `count` spread ones, none overlapping."""
    here = constraints.restored(landscape.start)
    first = [] if here is None else [here]
    if len(constraints.limits(landscape.start, 1e-6).misfit):
        return first + list(along_joint(landscape, constraints))
    symmetric = list(_symmetric(landscape, constraints))
    return first + symmetric + list(_spread(landscape, constraints, count, seed))


def _spread(
    landscape: EnergyLandscape, constraints: Constraints, count: int, seed: int
) -> Iterator[Place]:
    low, high = search_box(landscape)
    points = qmc.Sobol(6, seed=seed).random(2 ** int(np.ceil(np.log2(max(2 * count, 2)))))
    found = 0
    for u in points:
        place = Place(low + u[:3] * (high - low), uniform_rotation(u[3:]))
        place = place if constraints.joints else unspun(landscape.body, place)
        clear = _clear(constraints, place)
        if clear is not None:
            found += 1
            yield clear
        if found == count:
            return


def _clear(constraints: Constraints, place: Place) -> Place | None:
    """The place itself where nothing overlaps, drawn in by its strings; else None."""
    if constraints.gaps(place).min(initial=np.inf) < 0:
        return None
    return constraints.restored(place)


def search_box(landscape: EnergyLandscape) -> tuple[Array, Array]:
    """Return the corners (3,) of a box round all that attracts, wider by the part's size."""
    reach = float(np.linalg.norm(landscape.body.shape.extents))
    corners = []
    for i in attractors(landscape):
        centre, half = world_box(landscape, i)
        corners += [centre - half, centre + half]
    if not corners:
        corners = [landscape.start.position]
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    grown = reach + 0.25 * float((high - low).max())
    low, high = low - grown, high + grown
    start = landscape.start.position
    return np.minimum(low, start), np.maximum(high, start)


def world_box(landscape: EnergyLandscape, body: int) -> tuple[Array, Array]:
    """Return centre and half sizes (3,) of the box along the world axes that holds a body."""
    pose = landscape.system.start.pose
    turn = rotations.matrix(pose.quaternion[body])
    return pose.position[body], np.abs(turn) @ landscape.system.bodies[body].shape.extents


def uniform_rotation(u: Array) -> Array:
    """Return a quaternion (4,), uniform over all rotations for u (3,) uniform in 0..1."""
    a, b = np.sqrt(1 - u[0]), np.sqrt(u[0])
    s, t = 2 * np.pi * u[1], 2 * np.pi * u[2]
    return np.array([b * np.cos(t), a * np.sin(s), a * np.cos(s), b * np.sin(t)])


def _symmetric(landscape: EnergyLandscape, constraints: Constraints) -> Iterator[Place]:
    pose = landscape.system.start.pose
    for i in sorted(attractors(landscape)):
        frame = rotations.matrix(pose.quaternion[i])
        centre = pose.position[i]
        for turn in distinct_turns(landscape, frame):
            for direction in np.vstack([frame.T, -frame.T]):
                place = _set_before(landscape, constraints, centre, direction, turn, i)
                if place is not None:
                    yield place
        for other in constraints.others:
            if int(other) not in attractors(landscape):
                yield from _on_support(landscape, constraints, centre, frame, int(other))


def distinct_turns(landscape: EnergyLandscape, frame: Array) -> list[Array]:
    """Return quaternions (4,) that lay the part's axes along a frame (3, 3), each but once."""
    symmetries = shape_symmetries(landscape.body)
    found: list[Place] = []
    for axes in signed_axes():
        if np.linalg.det(axes) < 0:
            continue
        place = Place(np.zeros(3), rotations_from(frame @ axes))
        if all(apart(landscape.body, place, f, symmetries) > 1e-6 for f in found):
            found.append(place)
    return [f.quaternion for f in found]


def _set_before(
    landscape: EnergyLandscape,
    constraints: Constraints,
    centre: Array,
    direction: Array,
    turn: Array,
    other: int,
) -> Place | None:
    """The part in front of a body's middle along a direction (3,), nearly touching it."""
    far = float(np.linalg.norm(landscape.body.shape.extents))
    far += float(np.linalg.norm(landscape.system.bodies[other].shape.extents))
    column = int(np.flatnonzero(constraints.others == other)[0])
    place = Place(centre + far * direction, turn)
    for _ in range(40):
        gap = float(constraints.gaps(place)[column]) - MARGIN
        if gap < 1e-7:
            break
        place = Place(place.position - gap * direction, turn)
    return _clear(constraints, place)


def _on_support(
    landscape: EnergyLandscape,
    constraints: Constraints,
    centre: Array,
    frame: Array,
    other: int,
) -> Iterator[Place]:
    """The part on top of a body that does not attract, below or above a magnet's middle."""
    weight = landscape.system.gravity
    size = float(np.linalg.norm(weight))
    if size == 0.0:
        return
    up = -weight / size
    middle, half = world_box(landscape, other)
    top = float(middle @ up + half @ np.abs(up))
    column = int(np.flatnonzero(constraints.others == other)[0])
    for turn in distinct_turns(landscape, frame):
        reach = float(np.linalg.norm(landscape.body.shape.extents))
        place = Place(centre + (top + reach - centre @ up) * up, turn)
        gap = float(constraints.gaps(place)[column])
        place = Place(place.position - (gap - MARGIN) * up, turn)
        clear = _clear(constraints, place)
        if clear is not None:
            yield clear


def along_joint(
    landscape: EnergyLandscape, constraints: Constraints, turns: int = 24
) -> Iterator[Place]:
    """Places along what hinges and slides leave free, both ways from the present one."""
    step = np.pi / turns * landscape.radius
    for sense in (1.0, -1.0):
        place, way = landscape.start, None
        for _ in range(turns):
            limits = constraints.limits(place, 1e-6)
            measure = metric(landscape.body, place)
            basis = free_motions(limits.equality, measure)
            if not basis.shape[1]:
                return
            direction = basis[:, 0] * sense if way is None else basis @ (basis.T @ measure @ way)
            way = direction / np.sqrt(direction @ measure @ direction)
            ahead = constraints.restored(moved(place, step * way), step)
            if ahead is None:
                break
            place = ahead
            yield place
