"""The energy that a part rolls down: weight and pull together against how far it is turned, or, of
what cannot be turned, against how far it has come. The part is a bead on it.

The curve is the scene's own (`landscape`): the part turned about the edge that it stands on, in
both senses, or moved toward the magnet. The bead is the run's: how far it has turned by then, and
what magnetic energy and that of its weight have become since release. While it stands on that edge
the bead is on the curve; where it has lifted off, beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.errors import SnapsimError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import distance_curve
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.tilt_curve import tilt_curve
from snapsim.landscape.ways import pushes, turns
from snapsim.numerics import rotations
from snapsim.render.interpolation import Moment
from snapsim.simulation.trajectory import Trajectory

DETAIL: Final = "draft"
FARTHEST: Final = 0.3
STEPS: Final = 32
CLEAR: Final = 0.02
"""Share of the whole drop above which a side of a crest is worth a word."""


class Wins(StrEnum):
    """What drives a part along a side of the slope; the value is what is written there."""

    WEIGHT = "weight wins"
    PULL = "pull wins"
    NEITHER = ""


@dataclass(frozen=True)
class Slope:
    """`at` (k,) [deg] or [mm] in `unit`, from the pose at release; `energy` (k,) [J] above that
    there, with its share `weight`; `way` (3,) is the axis, or the direction."""

    unit: str
    at: Array
    energy: Array
    weight: Array
    way: Array

    @property
    def crest(self) -> float | None:
        """The crest nearest to the pose at release, None where there is none."""
        rises = np.diff(self.energy)
        tops = [k + 1 for k in range(len(rises) - 1) if rises[k] > 0 >= rises[k + 1]]
        return float(self.at[min(tops, key=lambda k: abs(self.at[k]))]) if tops else None

    def window(self, beyond: float) -> tuple[float, float]:
        """Return from where to where it is worth drawing: the hollows on both sides of the crest,
        or the ends, and `beyond`, a share of that, on both sides."""
        crest, rises = self.crest, np.diff(self.energy)
        if crest is None:
            return float(self.at[0]), float(self.at[-1])
        top = int(np.argmin(np.abs(self.at - crest)))
        back, on = np.flatnonzero(rises[:top] < 0), np.flatnonzero(rises[top:] > 0)
        low = self.at[back[-1] + 1] if len(back) else self.at[0]
        high = self.at[top + on[0]] if len(on) else self.at[-1]
        more = beyond * float(high - low)
        return max(float(low) - more, float(self.at[0])), min(
            float(high) + more, float(self.at[-1])
        )

    def words(self) -> tuple[Wins, Wins]:
        """What wins on the left and on the right of the crest, where the curve falls; of a curve
        without a crest the side that it falls to."""
        crest = self.crest
        middle = 0.0 if crest is None else crest
        left, right = self.at <= middle, self.at >= middle
        return self._wins(np.flatnonzero(left)[::-1]), self._wins(np.flatnonzero(right))

    def _wins(self, going: IntArray) -> Wins:
        """What drives a part along these places."""
        if len(going) < 2:
            return Wins.NEITHER
        rises = np.flatnonzero(np.diff(self.energy[going]) > 0)
        last = int(rises[0]) if len(rises) else len(going) - 1
        fall = float(self.energy[going[0]] - self.energy[going[last]])
        if fall < CLEAR * float(np.ptp(self.energy)):
            return Wins.NEITHER
        own = float(self.weight[going[0]] - self.weight[going[last]])
        return Wins.WEIGHT if own > fall - own else Wins.PULL

    def come(self, run: Trajectory, part: int, position: Array, quaternion: Array) -> float:
        """Return how far the part has turned or come at a place, in `unit`."""
        if self.unit == "mm":
            return 1e3 * float((position - run.position[0, part]) @ self.way)
        turned = rotations.multiply(quaternion, rotations.conjugate(run.quaternion[0, part]))
        angle = 2 * np.arctan2(float(turned[1:] @ self.way), float(turned[0]))
        return float(np.degrees((angle + np.pi) % (2 * np.pi) - np.pi))


def left_of(run: Trajectory, moment: Moment) -> float:
    """Return what magnetic energy and that of weight have become since release [J]."""
    first = {name: float(values[0]) for name, values in run.energy.items()}
    return sum(moment.energy[name] - first[name] for name in ("magnetic", "gravity"))


def slope_of(run: Trajectory, part: int) -> Slope | None:
    """Return the curve of a run's one free part, None of several or where none can be drawn."""
    free = [i for i, body in enumerate(run.system.bodies) if not body.fixed]
    if free != [part]:
        return None
    try:
        return _found(run, part)
    except SnapsimError:  # it overlaps, or currents change: no one curve
        return None


def _found(run: Trajectory, part: int) -> Slope | None:
    landscape = EnergyLandscape(run.system, part, DETAIL)
    constraints = Constraints(run.system, part)
    ways = turns(landscape, constraints, landscape.start)
    spin = np.abs(run.spin[:, part]).max(axis=0) if len(run.time) else np.zeros(3)
    if ways and float(spin.max()) > 0:
        axes = [ways[2 * k].axis for k in range(len(ways) // 2)]
        chosen = max(range(len(axes)), key=lambda k: float(np.abs(axes[k]) @ spin))
        curve = tilt_curve(landscape, constraints, chosen)
        at, energy, magnetic = np.degrees(curve.angle), curve.energy, curve.magnetic
        return _from_zero("deg", at, energy, energy - magnetic, curve.axis)
    leads = pushes(landscape, constraints, landscape.start, FARTHEST)
    way = next((w for w in leads if w.kind == "approach"), leads[0] if leads else None)
    if way is None:
        return None
    distance = np.linspace(0.0, way.reach(STEPS)[0], STEPS + 1)
    moved = distance_curve(landscape, constraints, way.direction, distance)
    weight = -distance * float(landscape.mass * run.system.gravity @ way.direction)
    return _from_zero("mm", 1e3 * distance, moved.energy + weight, weight, way.direction)


def _from_zero(unit: str, at: Array, energy: Array, weight: Array, way: Array) -> Slope | None:
    known = np.isfinite(energy)
    if known.sum() < 3:
        return None
    at, energy, weight = at[known], energy[known], weight[known]
    start = float(np.interp(0.0, at, energy)), float(np.interp(0.0, at, weight))
    found = Slope(unit, at, energy - start[0], weight - start[1], way)
    if found.words()[0] != Wins.PULL or unit == "mm":
        return found
    return Slope(unit, -at[::-1], found.energy[::-1], found.weight[::-1], -way)  # the pull: right
