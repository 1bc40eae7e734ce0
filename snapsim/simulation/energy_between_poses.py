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

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics.compilation import bare, compiled
from snapsim.numerics.kriging import Kriging, estimate, kriging
from snapsim.numerics.rotation_kernels import matrices
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose

Wrenches = tuple[Array, Array]
"""Force and torque (n, 3) each of n bodies [N, N m], about the centres of mass, world axes."""


class PoseEnergy(NamedTuple):
    """Energy [J] and the loads (n, 3) on all bodies [N, N m] of one pose."""

    energy: float
    force: Array
    torque: Array


ROOT_HALF: Final = math.sqrt(0.5)

NEAREST: Final = (16, 12, 12)
"""Poses that one interpolant rests on, of one tracked body, two, three and more. More cost more
than they spare."""

FEW: Final = 3
MANY: Final = 8
"""Most bodies that are tracked: of any kind, and where several have cells, so that a solved pose
costs far more than an interpolant of 588 rows."""

FEWEST: Final = 4
"""Poses below which nothing is interpolated."""


KEPT: Final = 400
"""Solved poses that are remembered."""

STEP: Final = 1.25
"""Factor between the lengths that are weighed against each other."""

WEIGHED: Final = 4
"""New poses after which the length is weighed anew."""

SAME: Final = 0.25
"""Share of other poses up to which a choice of nearest poses counts as the same."""

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
        point, tangent = np.empty(12 * count), np.zeros((12 * count, 6 * count))
        _place(pose.position, pose.quaternion, self.tracked, self.gyration, point, tangent)
        return point, tangent

    def slopes(self, force: Array, torque: Array) -> Array:
        """Return dE (6 k,) [N] along the tangents."""
        pull = np.concatenate(
            [force[self.tracked], torque[self.tracked] / self.gyration[:, None]], axis=1
        )
        return -pull.ravel()

    def wrenches(self, slopes: Array, position: Array) -> Wrenches:
        """Return force and torque on all bodies at `position` (n, 3) from the slopes (6 k,)."""
        force, torque = np.zeros_like(position), np.zeros_like(position)
        _wrenches(slopes, position, self.tracked, self.gyration, self.rest, force, torque)
        return force, torque

    def share(self, error: Array, slopes: Array) -> float:
        """Return the largest of the bodies' errors (6 k,) as a share of their loads."""
        return _share(error, slopes, self.weight)

    def share_of_field(self, error: Array, slopes: Array) -> float:
        """Return the same as a share of the field's loads alone, without the weights."""
        return _share(error, slopes, np.zeros_like(self.weight))


def pose_space(
    bodies: Sequence[Body], acting: Sequence[int], gravity: Array, most: int = FEW
) -> PoseSpace | None:
    """Return the space of the `acting` (magnetic) bodies' poses; None where it has too many
    dimensions to interpolate in (of more than `most` bodies), or nothing moves."""
    moving = [i for i in acting if not bodies[i].fixed]
    held = [i for i in acting if bodies[i].fixed]
    tracked = moving if len(held) < 2 else moving + held
    if not moving or len(acting) < 2 or len(tracked) > most:
        return None
    chosen = [bodies[i] for i in tracked]
    gyration = [np.sqrt(np.trace(b.inertia) / (2.0 * b.mass)) for b in chosen]
    weight = [b.mass * float(np.linalg.norm(gravity)) for b in chosen]
    rest = held[0] if len(held) == 1 else -1
    return PoseSpace(np.array(tracked), rest, np.array(gyration), np.array(weight))


@compiled
def _place(
    position: Array, quaternion: Array, tracked: IntArray, gyration: Array,
    point: Array, tangent: Array,
) -> None:  # fmt: skip
    turns = matrices(quaternion)
    for b in range(len(tracked)):
        row, column, turn = 12 * b, 6 * b, turns[tracked[b]]
        for i in range(3):
            point[row + i] = position[tracked[b], i]
            tangent[row + i, column + i] = 1.0
        for k in range(3):
            at = row + 3 + 3 * k
            x, y, z = turn[0, k] * ROOT_HALF, turn[1, k] * ROOT_HALF, turn[2, k] * ROOT_HALF
            point[at], point[at + 1], point[at + 2] = (
                gyration[b] * x,
                gyration[b] * y,
                gyration[b] * z,
            )
            # an axis e turns by w x e
            tangent[at, column + 4], tangent[at, column + 5] = z, -y
            tangent[at + 1, column + 3], tangent[at + 1, column + 5] = -z, x
            tangent[at + 2, column + 3], tangent[at + 2, column + 4] = y, -x


@bare
def _wrenches(
    slopes: Array, position: Array, tracked: IntArray, gyration: Array, rest: int,
    force: Array, torque: Array,
) -> None:  # fmt: skip
    for b in range(len(tracked)):
        i = tracked[b]
        for k in range(3):
            force[i, k] = -slopes[6 * b + k]
            torque[i, k] = -slopes[6 * b + 3 + k] * gyration[b]
        if rest < 0:
            continue
        x, y, z = force[i, 0], force[i, 1], force[i, 2]
        a = position[i, 0] - position[rest, 0]
        b_, c = position[i, 1] - position[rest, 1], position[i, 2] - position[rest, 2]
        force[rest, 0] -= x
        force[rest, 1] -= y
        force[rest, 2] -= z
        torque[rest, 0] -= torque[i, 0] + b_ * z - c * y
        torque[rest, 1] -= torque[i, 1] + c * x - a * z
        torque[rest, 2] -= torque[i, 2] + a * y - b_ * x


@bare
def _share(error: Array, slopes: Array, weight: Array) -> float:
    largest = 0.0
    for b in range(len(weight)):
        wrong, pull, twist = 0.0, 0.0, 0.0
        for k in range(6 * b, 6 * b + 3):
            wrong += error[k] ** 2 + error[k + 3] ** 2
            pull += slopes[k] ** 2
            twist += slopes[k + 3] ** 2
        load = math.sqrt(pull) + math.sqrt(twist) + weight[b]
        largest = max(largest, math.sqrt(wrong) / max(load, 1e-300))
    return largest


@compiled
def _ask(
    position: Array, quaternion: Array,
    tracked: IntArray, gyration: Array, weight: Array, rest: int,
    points: Array, tangents: Array, length: float, lower: Array, weights: Array, variance: float,
) -> tuple[Array, float, Array, Array]:  # fmt: skip
    """Return value less the mean and slopes (1 + 6 k,) at a pose, their deviation as a share of the
    loads, and force and torque on all bodies (n, 3)."""
    count = len(tracked)
    point, tangent = np.empty(12 * count), np.zeros((12 * count, 6 * count))
    _place(position, quaternion, tracked, gyration, point, tangent)
    found = np.empty((2, 1 + 6 * count))
    estimate(point, tangent, points, tangents, length, lower, weights, variance, found)
    force, torque = np.zeros_like(position), np.zeros_like(position)
    _wrenches(found[0, 1:], position, tracked, gyration, rest, force, torque)
    return found[0], _share(found[1, 1:], found[0, 1:], weight), force, torque


class _Answer(NamedTuple):
    """What an interpolant says of a pose: E [J], slopes (6 k,) [N], their deviation as a share of
    the loads, and force and torque on all bodies (n, 3) [N, N m]."""

    energy: float
    slopes: Array
    deviation: float
    force: Array
    torque: Array


class _Solved(NamedTuple):
    """A solved pose: its place, E [J] and slopes (6 k,) [N]."""

    point: Array
    tangent: Array
    energy: float
    slopes: Array


@dataclass
class Record:
    """How the interpolation fared: poses answered, and errors met at poses that were solved though
    they would have been answered, as shares of the loads."""

    answered: int = 0
    errors: list[float] = field(default_factory=list)


class EnergyBetweenPoses:
    """What solved poses say of others; `solved` tells of one more, `level` asks."""

    def __init__(self, space: PoseSpace) -> None:
        self.space = space
        self.record = Record()
        self.surprises = 0
        """Solved poses at which the interpolation was off by more than `NEWS` of what is allowed,
        as a share of the field's own loads."""
        self._known: list[_Solved] = []
        self._points: Array = np.empty((0, 12 * len(space.tracked)))
        self._nearest = NEAREST[min(len(space.tracked), len(NEAREST)) - 1]
        self._length = FIRST_LENGTH * float(space.gyration.max())
        self._caution = CAREFUL
        self._fit: Kriging | None = None
        self._window: frozenset[int] = frozenset()
        self._fresh = 0

    def level(self, pose: Pose, allowed: float) -> PoseEnergy | None:
        """Return energy and loads of `pose`; None where these are not known to the `allowed` share
        of themselves."""
        found = self._estimate(pose, allowed)
        if found is None or self._expected(found) > allowed:
            return None
        self.record.answered += 1
        return PoseEnergy(found.energy, found.force, found.torque)

    def solved(self, pose: Pose, energy: float, load: Wrenches, allowed: float) -> None:
        """Take in the energy [J] and the loads of a pose that was solved."""
        slopes = self.space.slopes(*load)
        if not np.isfinite(energy) or not np.all(np.isfinite(slopes)):
            return
        found = self._estimate(pose, allowed)
        if found is not None and not self._compare(found, slopes, allowed):
            return
        self.surprises += found is None
        point, tangent = self.space.place(pose)
        self._known.append(_Solved(point, tangent, energy, slopes))
        del self._known[:-KEPT]
        self._points = np.concatenate([self._points, point[None]])[-KEPT:]
        self._fit = None
        self._fresh += 1

    def _compare(self, found: _Answer, slopes: Array, allowed: float) -> bool:
        """Learn from an estimate and the truth; return whether the pose is worth keeping."""
        met = self.space.share(found.slopes - slopes, slopes)
        self.surprises += self.space.share_of_field(found.slopes - slopes, slopes) > NEWS * allowed
        expected = self._expected(found)
        if expected <= allowed:
            self.record.errors.append(met)
        ratio = self._caution * met / max(expected, 1e-300)
        self._caution = float(np.clip(max(0.8 * self._caution, ratio), 0.5, 100.0))
        return max(met, expected) > NEWS * allowed

    def _expected(self, found: _Answer) -> float:
        return self._caution * found.deviation

    def _estimate(self, pose: Pose, allowed: float) -> _Answer | None:
        """What is thought of a pose, by the solved poses nearest to it if need be."""
        if len(self._known) < FEWEST:
            return None
        found = self._answer(pose)
        if found is not None and self._expected(found) <= allowed:
            return found
        return self._answer(pose) if self._gather(self.space.place(pose)[0]) else found

    def _answer(self, pose: Pose) -> _Answer | None:
        """What the present interpolant says of a pose."""
        fit, space = self._fit, self.space
        if fit is None:
            return None
        found, deviation, force, torque = _ask(
            pose.position, pose.quaternion, space.tracked, space.gyration, space.weight, space.rest,
            fit.point, fit.tangent, fit.length, fit.factor.T, fit.weight, fit.variance,
        )  # fmt: skip
        return _Answer(fit.mean + float(found[0]), found[1:], deviation, force, torque)

    def _gather(self, point: Array) -> bool:
        """Fit to the solved poses nearest to `point`; False where the present fit has most of
        them."""
        away = ((self._points - point) ** 2).sum(axis=1)
        order = np.argsort(away, kind="stable")[: self._nearest]
        window = frozenset(order.tolist())
        if self._fit is not None and len(window - self._window) <= SAME * len(window):
            return False
        self._window = window
        self._fit = self._fitted(order[::-1])
        return True

    def _fitted(self, chosen: IntArray) -> Kriging | None:
        """The interpolant through the chosen poses; now and then of the likeliest length."""
        rows = [self._known[i] for i in chosen]
        point, tangent, energy, slopes = (np.array(column) for column in zip(*rows, strict=True))
        data = (point, tangent, energy, slopes)
        best = kriging(*data, self._length)
        if self._fresh >= WEIGHED or best is None:
            self._fresh = 0
            others = [kriging(*data, self._length * f) for f in (1.0 / STEP, STEP)]
            fits = [fit for fit in (best, *others) if fit is not None]
            best = min(fits, key=lambda fit: fit.surprise, default=None)
            self._length = self._length / STEP if best is None else best.length
        return best
