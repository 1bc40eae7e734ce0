"""Force and energy along lines and over planes of a part's places: the data of plots.

`angle_curve`: the part turned about an axis through a pivot, with the torque about that axis in its
parts (torque `torque_parts`). `distance_curve`: the part moved along a direction, its orientation
kept. `force_map`: the part moved over a plane. Where the part would overlap another body the
values are NaN. Poses follow each other along a line, so each solve starts near its answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.torque_parts import TorqueParts, torque_parts
from snapsim.numerics import rotations

OVERLAP = 2e-6
"""Depth [m] that still counts as touching."""

Tick = Callable[[int, int], None]
"""Progress: poses done, poses in all."""


@dataclass(frozen=True)
class AngleCurve:
    """Along `angle` (k,) [rad] about `axis` (3,) through `pivot` (k, 3): `energy` (k,) [J] with its
    share `magnetic` (both from the first valid angle on zero), the torque's `parts` (k,) each
    about the axis, `gap` (k,) [m] to the nearest body."""

    angle: Array
    axis: Array
    pivot: Array
    energy: Array
    magnetic: Array
    parts: TorqueParts
    gap: Array


@dataclass(frozen=True)
class DistanceCurve:
    """Along `distance` (k,) [m] in `direction` (3,): magnetic `force` (k, 3) [N], `torque` (k, 3)
    [N m], magnetic `energy` (k,) [J], `gap` (k,) [m] to the nearest body; `felt` (k, n, 6) [N, N m]
    from each of the n bodies, where asked for."""

    distance: Array
    direction: Array
    force: Array
    torque: Array
    energy: Array
    gap: Array
    felt: Array | None = None


@dataclass(frozen=True)
class ForceMap:
    """Over u (a,) and v (b,) [m] along the world axes `axes` from the part's place: magnetic
    `force` (b, a, 3) [N] and `energy` (b, a) [J]; NaN where bodies would overlap."""

    axes: tuple[int, int]
    u: Array
    v: Array
    force: Array
    energy: Array


def turned(place: Place, axis: Array, pivot: Array, angle: float) -> Place:
    """Return `place` turned by `angle` [rad] about the line through `pivot` (3,) along `axis`."""
    turn = rotations.from_axis_angle(axis, angle)
    position = pivot + rotations.rotate(turn, place.position - pivot)
    return Place(position, rotations.normalise(rotations.multiply(turn, place.quaternion)))


def angle_curve(
    landscape: EnergyLandscape,
    constraints: Constraints,
    axis: Array,
    angles: Array,
    places: list[Place],
    pivots: Array,
    tick: Tick | None = None,
) -> AngleCurve:
    """Return the curve of a part turned by `angles` (k,) [rad], where that puts it, and its pivots.

    `places` (k) and `pivots` (k, 3) as from `ways.turn`; angles rise.
    """

    def row(k: int, place: Place) -> tuple[float, ...]:
        level = landscape.at(place)
        return level.energy, level.magnetic, *torque_parts(landscape, place, axis, pivots[k])

    rows, gaps = _where_clear(row, 6, places, constraints, tick)
    energy, magnetic, *torques = rows.T
    first = int(np.argmax(np.isfinite(energy)))
    return AngleCurve(
        angles,
        axis,
        pivots,
        energy - energy[first],
        magnetic - magnetic[first],
        TorqueParts(*torques),
        gaps,
    )


def distance_curve(
    landscape: EnergyLandscape,
    constraints: Constraints,
    direction: Array,
    distances: Array,
    tick: Tick | None = None,
    between: bool = False,
) -> DistanceCurve:
    """Move the part from its place at release by each of `distances` (k,) [m]; with `between` what
    it feels of each body."""
    start = landscape.start
    places = [Place(start.position + d * direction, start.quaternion) for d in distances]
    rows, gaps = _forces(landscape, constraints, places, tick)
    felt = None
    if between:
        nothing = np.full((len(landscape.system.bodies), 6), np.nan)
        felt = np.array(
            [
                landscape.felt(p) if g >= -OVERLAP else nothing
                for p, g in zip(places, gaps, strict=True)
            ]
        )
    return DistanceCurve(distances, direction, rows[:, :3], rows[:, 3:6], rows[:, 6], gaps, felt)


def force_map(
    landscape: EnergyLandscape,
    constraints: Constraints,
    axes: tuple[int, int],
    u: Array,
    v: Array,
    tick: Tick | None = None,
) -> ForceMap:
    """Move the part over a plane of two world axes; rows are run there and back, a warm path."""
    start, e = landscape.start, np.eye(3)
    order = [(j, i) for j in range(len(v)) for i in (range(len(u)) if j % 2 else _back(len(u)))]
    places = [
        Place(start.position + u[i] * e[axes[0]] + v[j] * e[axes[1]], start.quaternion)
        for j, i in order
    ]
    rows, _gaps = _forces(landscape, constraints, places, tick)
    table = np.empty((len(v), len(u), 7))
    for (j, i), row in zip(order, rows, strict=True):
        table[j, i] = row
    return ForceMap(axes, u, v, table[:, :, :3], table[:, :, 6])


def _back(count: int) -> range:
    return range(count - 1, -1, -1)


def _forces(
    landscape: EnergyLandscape, constraints: Constraints, places: list[Place], tick: Tick | None
) -> tuple[Array, Array]:
    """Magnetic force, torque and energy (k, 7), NaN in an overlap, and gaps (k,)."""

    def row(_: int, place: Place) -> tuple[float, ...]:
        level = landscape.at(place)
        return *level.force, *level.torque, level.magnetic

    return _where_clear(row, 7, places, constraints, tick)


def _where_clear(
    row: Callable[[int, Place], tuple[float, ...]],
    width: int,
    places: list[Place],
    constraints: Constraints,
    tick: Tick | None,
) -> tuple[Array, Array]:
    """What `row` says (k, width) of each place, by its number, NaN in an overlap, and gaps (k,)."""
    rows, gaps = np.full((len(places), width), np.nan), np.empty(len(places))
    for k, place in enumerate(places):
        gaps[k] = constraints.gaps(place).min(initial=np.inf)
        if gaps[k] >= -OVERLAP:
            rows[k] = row(k, place)
        if tick is not None:
            tick(k + 1, len(places))
    return rows, gaps
