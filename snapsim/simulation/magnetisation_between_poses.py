"""Magnetisation of soft parts between poses that were solved: mixed from the nearest of these.

The motion needs force and torque at far more poses than it has solved (`energy_between_poses`), and
whoever looks at a run wants to see the magnetisation at every frame. M(u), u the place of a pose in
`PoseSpace`, is taken as a draw of a Gaussian process about a constant, each cell alike and on its
own, of covariance s^2 exp(-|u - v|^2 / (2 l^2)): one set of weights then mixes whole solutions,

    M(u) = M_0 + sum_k w_k (M_k - M_0),    C w = c(u),    deviation^2 = s^2 (1 - w.c),

M_0 that of the nearest solved pose, s^2 = |C^-1/2 (M_k - M_0)|^2 / n by likelihood. The deviation
is scaled by how large it came out too small where a solved pose is told from the others (leave one
out). Source: Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, eqs. (2.25),
(2.26), section 5.4.2 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from snapsim.arrays import Array, IntArray

NEAREST: Final = 16
"""Solved poses that are mixed."""

FEWEST: Final = 4
"""Solved poses below which nothing is mixed."""

LENGTH: Final = 1.0
"""Length l of the process in radii of gyration; half or twice as much serves as well."""

NUGGET: Final = 1e-8
"""Share of s^2 by which solutions may err: the square of a solve's usual error in M."""

PROBED: Final = 16
"""Cells in which errors are measured, of each run's thousands."""

TOLD: Final = 100
"""Solved poses that are told from the others to learn how large errors are."""

USUAL: Final = 0.95
"""Share of these whose errors the scaled deviation covers."""

AT_ONCE: Final = 128
"""Poses whose weights are found together, which bounds the memory taken."""


class Guess(NamedTuple):
    """Weights (f, n) of the solved poses `chosen` (f, n) at f places, and the `error` (f,) that M
    is expected to have, root mean square as a share of M."""

    chosen: IntArray
    weight: Array
    error: Array


@dataclass(frozen=True)
class MagnetisationBetweenPoses:
    """Solved poses: `point` (n, d) [m] in pose space, `rows` (n, m) [A/m] all cells' M, `length`
    l [m]."""

    point: Array
    rows: Array
    length: float

    def guess(self, points: Array) -> Guess:
        """Return weights and expected errors at `points` (f, d); errors are infinite where too few
        poses are solved."""
        count = len(self.point)
        if count < FEWEST:
            return Guess(
                np.zeros((len(points), 1), np.int64),
                np.ones((len(points), 1)),
                np.full(len(points), np.inf),
            )
        chosen = self._nearest(points, min(NEAREST, count))
        weight, deviation, _ = self._mixtures(points, chosen)
        size = np.sqrt(np.mean(self._probe()[chosen[:, 0]] ** 2, axis=1))
        error = self._caution() * deviation / np.maximum(size, 1e-300)
        return Guess(chosen, weight, error)

    def mixed(self, guess: Guess) -> Array:
        """Return all cells' M (f, m) [A/m]."""
        found = np.empty((len(guess.chosen), self.rows.shape[1]))
        for k, (chosen, weight) in enumerate(zip(guess.chosen, guess.weight, strict=True)):
            found[k] = weight @ self.rows[chosen]
        return found

    def _nearest(self, points: Array, number: int) -> IntArray:
        """The `number` solved poses nearest to `points` (f, d), nearest first (f, number)."""
        return np.asarray(cKDTree(self.point).query(points, k=number)[1], dtype=np.int64)

    def _probe(self) -> Array:
        """M (n, p) in a few cells, spread over all."""
        cells = self.rows.reshape(len(self.rows), -1, 3)
        few: Array = cells[:, :: -(-cells.shape[1] // PROBED)].reshape(len(self.rows), -1)
        return few

    def _caution(self) -> float:
        """Errors met where solved poses are told from the others, over their deviations."""
        count = len(self.point)
        asked = np.unique(np.linspace(0, count - 1, min(TOLD, count)).astype(np.int64))
        chosen = self._nearest(self.point[asked], min(NEAREST + 1, count))
        own = chosen == asked[:, None]
        own[~own.any(axis=1), -1] = True  # many in one place: it is not among the nearest
        others = chosen[~own].reshape(len(asked), -1)
        _, deviation, guessed = self._mixtures(self.point[asked], others)
        met = np.sqrt(np.mean((guessed - self._probe()[asked]) ** 2, axis=1))
        return max(float(np.quantile(met / np.maximum(deviation, 1e-300), USUAL)), 1.0)

    def _mixtures(self, points: Array, chosen: IntArray) -> tuple[Array, Array, Array]:
        """Return weights (f, n), deviations (f,) [A/m] and M (f, p) in the probed cells."""
        parts = [
            self._mixture(points[k : k + AT_ONCE], chosen[k : k + AT_ONCE])
            for k in range(0, len(points), AT_ONCE)
        ]
        weight, deviation, guessed = (np.concatenate(column) for column in zip(*parts, strict=True))
        return weight, deviation, guessed

    def _mixture(self, points: Array, chosen: IntArray) -> tuple[Array, Array, Array]:
        near = self.point[chosen]
        alike = self._alike(near[:, :, None] - near[:, None])
        alike += NUGGET * np.eye(alike.shape[1])
        cross = self._alike(points[:, None] - near)
        probe = self._probe()[chosen]
        apart = probe - probe[:, :1]
        solved = np.linalg.solve(alike, np.concatenate([cross[:, :, None], apart], axis=2))
        weight = solved[:, :, 0]
        variance = np.mean(np.sum(apart * solved[:, :, 1:], axis=1), axis=1) / chosen.shape[1]
        left = np.maximum(1.0 - np.sum(weight * cross, axis=1), NUGGET)
        deviation = np.sqrt(np.maximum(variance, 0.0) * left)
        guessed = probe[:, 0] + np.einsum("fn,fnp->fp", weight, apart)
        weight[:, 0] += 1.0 - weight.sum(axis=1)
        return weight, deviation, guessed

    def _alike(self, apart: Array) -> Array:
        square: Array = np.sum(apart**2, axis=-1)
        return np.exp(-0.5 * square / self.length**2)
