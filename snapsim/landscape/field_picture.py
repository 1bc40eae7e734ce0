"""Field lines in the plane through a part's centre, with the part and without it.

Every line passes through a magnet, so the seeds lie on each magnet's middle cut, the same flux per
length across the plane between neighbours. In a plane of mirror symmetry the lines are lines of
the field; elsewhere they are lines of its projection on the plane, which `off_plane` tells: the
largest share of |B| across the plane met on the seeds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.energy import EnergyLandscape
from snapsim.magnetics.field_lines import FieldLine, equal_flux_seeds, trace
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.total_field import TotalField
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose

LINES = 17
MARGIN = 0.9
STEPS_ACROSS = 220


@dataclass(frozen=True)
class FieldPicture:
    """`with_part` and `without`: lines in world axes [m]; the frame `low`, `high` (2,) [m] along
    the plane's world axes `axes`; `off_plane` as in the module text."""

    axes: tuple[int, int]
    low: Array
    high: Array
    with_part: list[FieldLine]
    without: list[FieldLine]
    off_plane: float


def field_picture(
    landscape: EnergyLandscape, axes: tuple[int, int], lines: int = LINES
) -> FieldPicture:
    """Trace both sets of lines at the part's place at release."""
    system, start = landscape.system, landscape.start
    low, high = _frame(landscape, axes)
    full = landscape.model.evaluate(landscape.pose(start))
    fields = []
    with_part = TotalField(system.bodies, landscape.model, landscape.pose(start), full)
    fields.append(with_part)
    others = [i for i in range(len(system.bodies)) if i != landscape.number]
    bodies = [system.bodies[i] for i in others]
    pose = Pose(system.start.pose.position[others], system.start.pose.quaternion[others])
    bare = MagneticModel(bodies, system.detail, recoil=system.recoil)
    fields.append(TotalField(bodies, bare, pose, bare.evaluate(pose)))
    drawn, off = [], 0.0
    for field in fields:
        flat = _in_plane(field, start.position, axes)
        seeds = np.concatenate(
            [
                _seeds(flat, body, system.start.pose, i, start.position, axes, lines)
                for i, body in enumerate(system.bodies)
                if body.is_magnet
            ]
        )
        b = field.b(seeds)
        off = max(off, float(np.max(np.abs(b[:, 3 - sum(axes)]) / np.linalg.norm(b, axis=1))))
        drawn.append(_traced(flat, seeds, axes, low, high))
    return FieldPicture(axes, low, high, drawn[0], drawn[1], off)


def _in_plane(field: TotalField, through: Array, axes: tuple[int, int]) -> Callable[[Array], Array]:
    keep = np.zeros(3)
    keep[list(axes)] = 1.0

    def b(points: Array) -> Array:
        return field.b(keep * points + (1 - keep) * through) * keep

    return b


def _traced(
    b: Callable[[Array], Array], seeds: Array, axes: tuple[int, int], low: Array, high: Array
) -> list[FieldLine]:
    room = MARGIN * (high - low)
    corner, far = np.full(3, -np.inf), np.full(3, np.inf)
    corner[list(axes)], far[list(axes)] = low - room, high + room
    step = float((high - low).max()) / STEPS_ACROSS
    return trace(b, seeds, step, corner, far, most=5 * STEPS_ACROSS)


def _seeds(
    b: Callable[[Array], Array],
    body: Body,
    pose: Pose,
    number: int,
    through: Array,
    axes: tuple[int, int],
    count: int,
) -> Array:
    """Seeds (count, 3) on the magnet's middle cut, in the plane."""
    turn = rotations.matrix(pose.quaternion[number])
    along = turn @ (body.magnetised if body.magnetised is not None else np.array([0.0, 0, 1]))
    flat = np.zeros(3)
    flat[list(axes)] = along[list(axes)]
    size = float(np.linalg.norm(flat))
    if size < 0.3:
        return np.zeros((0, 3))
    flat = flat / size
    across = np.zeros(3)
    across[axes[0]], across[axes[1]] = -flat[axes[1]], flat[axes[0]]
    half = float(np.abs(turn.T @ across) @ body.shape.extents)
    centre = pose.position[number].copy()
    off = 3 - sum(axes)
    centre[off] = through[off]
    return equal_flux_seeds(
        b, centre - 0.98 * half * across, centre + 0.98 * half * across, flat, count
    )


def _frame(landscape: EnergyLandscape, axes: tuple[int, int]) -> tuple[Array, Array]:
    """The frame's corners (2,) [m]: the part and all magnets with room around them."""
    system, pose = landscape.system, landscape.system.start.pose
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for i, body in enumerate(system.bodies):
        if not (body.is_magnet or i == landscape.number):
            continue
        turn = rotations.matrix(pose.quaternion[i])
        half = (np.abs(turn) @ body.shape.extents)[list(axes)]
        centre = pose.position[i][list(axes)]
        low, high = np.minimum(low, centre - half), np.maximum(high, centre + half)
    room = 0.22 * float((high - low).max())
    return low - room, high + room
