"""What a cut through a part shows: its magnetisation, and the field around it.

`PolarisationSection`: polarisation J = mu_0 M [T] on a grid of one plane through the part's centre,
NaN outside it, with the part's mean and the share of its volume above NEAR of its saturation.
`stances`: the part turned so that its shortest side lies across the magnets' field, at 45 degrees
and along it ("upright", "tilted" and "flat" under a pole that faces down), each set against the
pole: moved toward what attracts it until it touches that, or what stands between. Only within
`NAMED` of such an angle is it called by that name: a turn in one plane need not reach it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import attractors
from snapsim.landscape.curves import turned
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import CLEAR, at_gap
from snapsim.landscape.ways import toward_nearest
from snapsim.magnetics.total_field import TotalField
from snapsim.numerics import rotations
from snapsim.parts.materials import MagnetisationCurve

NEAR = 0.9
"""Share of the saturation polarisation from which a cell counts as near saturation."""


NAMED = np.radians(3.0)
"""Angle [rad] within which a stance is called by its name."""


@dataclass(frozen=True)
class PolarisationSection:
    """On points (b, a, 3) [m] of a plane with world axes `axes`: `polarisation` (b, a, 3) [T] of
    the part, world axes, NaN outside it. `mean` (3,) [T] of the whole part; `saturated`, the share
    of its volume near saturation (NaN for a linear material); `limit` [T], saturation or peak."""

    place: Place
    axes: tuple[int, int]
    points: Array
    polarisation: Array
    mean: Array
    saturated: float
    limit: float


def section(
    landscape: EnergyLandscape, place: Place, axes: tuple[int, int], count: int = 120
) -> PolarisationSection:
    """Cut the part at `place` by the plane through its centre along two world axes."""
    state, i = landscape.state(place), landscape.number
    field = TotalField(landscape.system.bodies, landscape.model, landscape.pose(place), state)
    points = _grid(landscape, place, axes, count)
    flat = points.reshape(-1, 3)
    held = field.holds(i, flat)
    values = np.full_like(flat, np.nan)
    values[held] = MU_0 * field.magnetisation(flat[held])
    local = state.magnetisation[landscape.model.soft.index(i)]
    volume = landscape.model.cells[i].volume
    size = MU_0 * np.linalg.norm(local, axis=1)
    turn = rotations.matrix(place.quaternion)
    limit = saturation_polarisation(landscape.body.material.curve)
    share = float(volume[size > NEAR * limit].sum() / volume.sum()) if np.isfinite(limit) else limit
    return PolarisationSection(
        place,
        axes,
        points,
        values.reshape(points.shape),
        turn @ (MU_0 * (volume @ local) / volume.sum()),
        share if np.isfinite(limit) else float("nan"),
        limit if np.isfinite(limit) else float(size.max()),
    )


def _grid(landscape: EnergyLandscape, place: Place, axes: tuple[int, int], count: int) -> Array:
    drawn, _ = landscape.body.shape.surface(24)
    world = place.position + rotations.rotate(place.quaternion[None], drawn)
    low, high = world.min(axis=0), world.max(axis=0)
    step = float((high - low)[list(axes)].max()) / count
    u, v = (np.arange(low[k] - step / 2, high[k] + step, step) for k in axes)
    points = np.empty((len(v), len(u), 3))
    points[:] = place.position
    points[:, :, axes[0]], points[:, :, axes[1]] = np.meshgrid(u, v)
    return points


def saturation_polarisation(curve: MagnetisationCurve | None) -> float:
    """Return J_s [T]: as given, or that of a table's last point; infinite for a linear material."""
    if curve is None:
        return float("inf")
    if curve.saturation is not None:
        return float(curve.saturation)
    if not len(curve.field_strength):
        return float("inf")
    return float(curve.flux_density[-1] - MU_0 * curve.field_strength[-1])


def stances(
    landscape: EnergyLandscape, constraints: Constraints, axes: tuple[int, int]
) -> dict[str, Place]:
    """Return the part upright, tilted and flat to the magnets' field, by what it is called; where
    no place has room a stance is left out.

    It turns about the world axis across the plane `axes`, about its centre, and is then set there.
    """
    start = landscape.start
    state = landscape.state(start)
    field = TotalField(
        landscape.system.bodies, landscape.model, landscape.pose(start), state, landscape.number
    ).h(start.position[None])[0]
    body_axis = np.eye(3)[int(np.argmin(landscape.body.shape.extents))]
    short = rotations.rotate(start.quaternion, body_axis)
    across = np.eye(3)[3 - sum(axes)]
    now = _angle(short, axes) - _angle(field, axes)
    wanted = {"upright": np.pi / 2, "tilted": np.pi / 4, "flat": 0.0}
    sense = 1.0 if axes in ((0, 1), (1, 2), (2, 0)) else -1.0
    found = {}
    for name, angle in wanted.items():
        place = turned(start, sense * across, start.position, angle - now)
        there = _at_pole(landscape, constraints, place)
        if there is not None:
            reached = rotations.rotate(there.quaternion, body_axis) @ field / np.linalg.norm(field)
            off = float(np.arccos(min(1.0, abs(float(reached)))))
            fits = abs(off - angle) < NAMED
            found[name if fits else f"short side {np.degrees(off):.0f}° off the field"] = there
    return found


def _at_pole(landscape: EnergyLandscape, constraints: Constraints, place: Place) -> Place | None:
    """The place moved toward what attracts the part until it touches that, or what stands between;
    None for no room."""
    way = toward_nearest(landscape, constraints, landscape.start)
    if way is None:
        return None
    drawing = np.isin(constraints.others, list(attractors(landscape)))
    for counted in (drawing, np.ones_like(drawing)):
        there = at_gap(constraints, place, way, counted, CLEAR, both=True)
        if there is not None and constraints.gaps(there).min(initial=np.inf) > -1e-5:
            return there
    return None


def _angle(vector: Array, axes: tuple[int, int]) -> float:
    """Angle [rad] of a vector in the plane of two world axes, from the first to the second."""
    return float(np.arctan2(vector[axes[1]], vector[axes[0]]))
