"""The field at points of one's own choosing, and the forces in poses of one's own choosing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from snapsim.arrays import Array, ArrayLike, as_floats
from snapsim.errors import InputError
from snapsim.landscape.force import forces
from snapsim.landscape.rests import body_number
from snapsim.magnetics.model import MagneticModel, MagneticSeries
from snapsim.magnetics.total_field import TotalField
from snapsim.parts.states import Pose
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.system import System


def field_at(system: System, points: ArrayLike, tolerance: float = 1e-9) -> Array:
    """Return B (k, 3) [T] at world points (k, 3) [m] with all bodies as placed, inside them too.

    Raises InputError on an overlap, and for points that are not rows of three numbers.
    """
    refuse_overlaps(system)
    at = _rows(points, 3, "points")
    model = MagneticModel(system.bodies, system.detail, tolerance, recoil=system.recoil)
    pose = system.start.pose
    return TotalField(system.bodies, model, pose, model.evaluate(pose)).b(at)


def forces_in(
    system: System,
    body: str | None,
    position: ArrayLike,
    quaternion: ArrayLike | None = None,
) -> MagneticSeries:
    """Return force, torque and energy of all bodies with one of them in many poses.

    `position` (k, 3) [m] of its centre of mass, `quaternion` (k, 4), scalar first, or (4,) for all;
    as placed where left out. Bodies may lie inside each other: that is the caller's to see to.
    Raises InputError for a body that is unknown or fixed, and for rows of another length.
    """
    number = body_number(system, body)
    places = _rows(position, 3, "position")
    start = system.start.pose
    given = start.quaternion[number] if quaternion is None else quaternion
    turns = _rows(given, 4, "quaternion")
    if len(turns) not in (1, len(places)):
        problem = f"has {len(turns)} rows where position has {len(places)}; give one, or as many"
        raise InputError(problem, key="quaternion")
    lengths = np.linalg.norm(turns, axis=1, keepdims=True)
    if not lengths.all():
        raise InputError("has a row of zero length, which is no rotation", key="quaternion")
    return forces(
        system, _poses(start, number, places, np.resize(turns / lengths, (len(places), 4)))
    )


def _poses(start: Pose, number: int, places: Array, turns: Array) -> Iterator[Pose]:
    for place, turn in zip(places, turns, strict=True):
        position, quaternion = start.position.copy(), start.quaternion.copy()
        position[number], quaternion[number] = place, turn
        yield Pose(position, quaternion)


def _rows(values: ArrayLike, width: int, key: str) -> Array:
    """Return finite numbers (k, width); raises InputError."""
    rows = np.atleast_2d(as_floats(values))
    if rows.ndim != 2 or rows.shape[1] != width or not np.isfinite(rows).all():
        raise InputError(f"must be rows of {width} finite numbers in SI units", key=key)
    return rows
