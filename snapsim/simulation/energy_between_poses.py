"""Force and torque between poses that were solved: interpolated from energy and slopes of these.

One magnetic energy E of the poses of all bodies gives every force and torque, and E is smooth while
bodies do not touch the magnets' edges. So what a few solved poses say of E and its slopes (minus
force and torque) is enough for those around: `numerics.kriging` interpolates E over places

    u = (x, s/sqrt2 R e_1, s/sqrt2 R e_2, s/sqrt2 R e_3) of each body that moves,

s [m] the body's radius of gyration about its centre (root of tr I/2m), so that the distance of two
places is about how far the body's matter moves between them. The interpolated force is the gradient
of one smooth energy: the work that it does is that energy's loss. Its expected error is the
process' deviation times `caution`, which the errors met wherever a pose was solved raise and lower;
a pose is solved where that exceeds the allowed share of |F| + |T|/s + m g. Where one magnetic body
is fixed its load is what balances the others (their forces and angular momenta sum to zero); where
several are, their slopes are observed as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.numerics.kriging import Estimate, Kriging, kriging
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose

Wrenches = tuple[Array, Array]
"""Force and torque (n, 3) each of n bodies [N, N m], about the centres of mass, world axes."""

OBSERVED: Final = 168
"""Numbers that one interpolant may rest on: 24 poses of one body, 12 of two. More cost more than
they spare."""

FEWEST: Final = 4
"""Poses below which nothing is interpolated."""

MOST_BODIES: Final = 3
"""Bodies whose poses or slopes matter, above which every pose is solved."""

KEPT: Final = 400
"""Solved poses that are remembered."""

STEP: Final = 1.25
"""Factor between the lengths that are weighed against each other."""

FIRST_LENGTH: Final = 0.9
"""Length of the process at first, in radii of gyration."""

CAREFUL: Final = 3.0
"""Caution at first: expected error over the process' deviation."""

NEWS: Final = 0.1
"""Share of what is allowed above which an error expected or met makes a solved pose worth keeping.
Closer ones would only spoil the matrix."""


@dataclass(frozen=True)
class PoseSpace:
    """Where bodies are, as points: `tracked` (k,) the bodies, `rest` the one that balances them
    (-1: none), `gyration` (k,) [m] and `weight` (k,) [N] of the tracked ones."""

    tracked: IntArray
    rest: int
    gyration: Array
    weight: Array

    def place(self, pose: Pose) -> tuple[Array, Array]:
        """Return the point (12 k,) and the tangents (12 k, 6 k): displacement and turn times s."""
        count = len(self.tracked)
        point, tangent = np.zeros((count, 4, 3)), np.zeros((count, 12, count, 6))
        point[:, 0] = pose.position[self.tracked]
        turns = rotations.matrix(pose.quaternion[self.tracked])
        axes = np.swapaxes(turns, 1, 2) / np.sqrt(2.0)
        point[:, 1:] = self.gyration[:, None, None] * axes
        for b in range(count):
            tangent[b, :3, b, :3] = np.eye(3)
            tangent[b, 3:, b, 3:] = _turning(axes[b])
        return point.ravel(), tangent.reshape(12 * count, 6 * count)

    def slopes(self, force: Array, torque: Array) -> Array:
        """Return dE (6 k,) [N] along the tangents."""
        pull = np.concatenate(
            [force[self.tracked], torque[self.tracked] / self.gyration[:, None]], axis=1
        )
        return -pull.ravel()

    def wrenches(self, slopes: Array, position: Array) -> Wrenches:
        """Return force and torque on all bodies at `position` (n, 3) from the slopes (6 k,)."""
        force, torque = np.zeros_like(position), np.zeros_like(position)
        pull = -slopes.reshape(-1, 6)
        force[self.tracked], twist = pull[:, :3], pull[:, 3:] * self.gyration[:, None]
        torque[self.tracked] = twist
        if self.rest >= 0:
            arm = position[self.tracked] - position[self.rest]
            force[self.rest] = -pull[:, :3].sum(axis=0)
            torque[self.rest] = -(twist + np.cross(arm, pull[:, :3])).sum(axis=0)
        return force, torque

    def shares(self, errors: Array, slopes: Array) -> float:
        """Return the largest of the bodies' `errors` (6 k,) as a share of their loads."""
        error = np.sqrt(np.square(errors).reshape(-1, 6).sum(axis=1))
        pull = np.square(slopes).reshape(-1, 2, 3).sum(axis=2)
        load = np.sqrt(pull).sum(axis=1) + self.weight
        return float(np.max(error / np.maximum(load, 1e-300)))


def pose_space(bodies: Sequence[Body], acting: Sequence[int], gravity: Array) -> PoseSpace | None:
    """Return the space of the `acting` (magnetic) bodies' poses; None where it has too many
    dimensions to interpolate in, or nothing moves."""
    moving = [i for i in acting if not bodies[i].fixed]
    held = [i for i in acting if bodies[i].fixed]
    tracked = moving if len(held) < 2 else moving + held
    if not moving or len(acting) < 2 or len(tracked) > MOST_BODIES:
        return None
    chosen = [bodies[i] for i in tracked]
    gyration = [np.sqrt(np.trace(b.inertia) / (2.0 * b.mass)) for b in chosen]
    weight = [b.mass * float(np.linalg.norm(gravity)) for b in chosen]
    rest = held[0] if len(held) == 1 else -1
    return PoseSpace(np.array(tracked), rest, np.array(gyration), np.array(weight))


def _turning(axes: Array) -> Array:
    """Return d(axes)/d(turn) (9, 3) of the rows of `axes` (3, 3): e turns by w x e."""
    out = np.zeros((3, 3, 3))
    for k, (x, y, z) in enumerate(axes.tolist()):
        out[k] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]
    return out.reshape(9, 3)


@dataclass
class Record:
    """How the interpolation fared: poses answered, and errors met at poses that were solved though
    they would have been answered, as shares of the loads."""

    answered: int = 0
    errors: list[float] = field(default_factory=list)


class EnergyBetweenPoses:
    """What solved poses say of others; `solved` tells of one more, `load` asks."""

    def __init__(self, space: PoseSpace) -> None:
        self.space = space
        self.record = Record()
        self._points: list[Array] = []
        self._tangents: list[Array] = []
        self._values: list[float] = []
        self._slopes: list[Array] = []
        self._per_pose = 1 + 6 * len(space.tracked)
        self._length = FIRST_LENGTH * float(space.gyration.max())
        self._caution = CAREFUL
        self._fit: Kriging | None = None
        self._window: frozenset[int] = frozenset()
        self._fresh = 0

    def load(self, pose: Pose, allowed: float) -> Wrenches | None:
        """Return force and torque on all bodies in `pose`; None where they are not known to the
        `allowed` share of the loads."""
        found = self._estimate(pose, allowed)
        if found is None or self._expected(found) > allowed:
            return None
        self.record.answered += 1
        return self.space.wrenches(found.slopes, pose.position)

    def solved(self, pose: Pose, energy: float, load: Wrenches, allowed: float) -> None:
        """Take in the energy [J] and the loads of a pose that was solved."""
        slopes = self.space.slopes(*load)
        if not np.isfinite(energy) or not np.all(np.isfinite(slopes)):
            return
        found = self._estimate(pose, allowed)
        if found is not None and not self._compare(found, slopes, allowed):
            return
        point, tangent = self.space.place(pose)
        for kept, new in (
            (self._points, point),
            (self._tangents, tangent),
            (self._values, energy),
            (self._slopes, slopes),
        ):
            kept.append(new)  # type: ignore[attr-defined]
            del kept[:-KEPT]  # type: ignore[attr-defined]
        self._fit = None
        self._fresh += 1

    def _compare(self, found: Estimate, slopes: Array, allowed: float) -> bool:
        """Learn from an estimate and the truth; return whether the pose is worth keeping."""
        met = self.space.shares(found.slopes - slopes, slopes)
        expected = self._expected(found)
        if expected <= allowed:
            self.record.errors.append(met)
        ratio = self._caution * met / max(expected, 1e-300)
        self._caution = float(np.clip(max(0.8 * self._caution, ratio), 0.5, 100.0))
        return max(met, expected) > NEWS * allowed

    def _expected(self, found: Estimate) -> float:
        return self._caution * self.space.shares(found.deviation, found.slopes)

    def _estimate(self, pose: Pose, allowed: float) -> Estimate | None:
        """The estimate at a pose, from the solved poses nearest to it if need be."""
        if len(self._points) < FEWEST:
            return None
        point, tangent = self.space.place(pose)
        if self._fit is not None:
            found = self._fit.at(point, tangent)
            if self._expected(found) <= allowed:
                return found
        if not self._gather(point):
            return None if self._fit is None else found
        return None if self._fit is None else self._fit.at(point, tangent)

    def _gather(self, point: Array) -> bool:
        """Fit to the solved poses nearest to `point`; False where that is the present fit."""
        away = np.sum((np.array(self._points) - point) ** 2, axis=1)
        order = np.argsort(away, kind="stable")[: max(OBSERVED // self._per_pose, FEWEST)]
        window = frozenset(order.tolist())
        if self._fit is not None and window == self._window:
            return False
        self._window = window
        self._fit = self._fitted(order[::-1])
        return True

    def _fitted(self, chosen: IntArray) -> Kriging | None:
        """The interpolant through the chosen poses; with new ones, of the likeliest length."""
        lengths = [self._length]
        if self._fresh:
            lengths += [self._length / STEP, self._length * STEP]
            self._fresh = 0
        data = (
            np.array([self._points[i] for i in chosen]),
            np.array([self._tangents[i] for i in chosen]),
            np.array([self._values[i] for i in chosen]),
            np.array([self._slopes[i] for i in chosen]),
        )
        fits = [fit for length in lengths if (fit := kriging(*data, length)) is not None]
        best = min(fits, key=lambda fit: fit.surprise, default=None)
        self._length = self._length / STEP if best is None else best.length
        return best
