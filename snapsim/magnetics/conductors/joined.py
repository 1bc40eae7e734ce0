"""Conductors that keep their places to each other: one circuit, with modes of its own.

    energy = 1/2 a . (1 + M) a,    heat = sum a_i^2 / tau_i,    M_ij = int_i int_j J . J' L

a_i the amplitudes of each one's own modes (`modes`), M what those of two induce in each other
(`inductance`). The eigenvectors of heat against energy neither heat nor induce each other: the
joined conductors have modes as one has, each with a share of every conductor's own. Stacked plates
then shield each other as the layers of one plate do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from snapsim.arrays import Array
from snapsim.magnetics.conductors.inductance import mutual_inductances
from snapsim.magnetics.conductors.modes import FASTEST, CurrentModes


@dataclass(frozen=True, eq=False)
class JoinedModes:
    """Modes k of several conductors, slowest first: `time` (k,) [s], and for each conductor its
    `shares` (own modes, k): how much of its own modes one root joule of each is."""

    time: Array
    shares: tuple[Array, ...]


def joined_modes(
    modes: Sequence[CurrentModes], position: Sequence[Array], turn: Sequence[Array]
) -> JoinedModes:
    """Return the modes of conductors at places (3,) [m], turned (3, 3)."""
    placed = [m.bricks.placed(x, t) for m, x, t in zip(modes, position, turn, strict=True)]
    ends = np.cumsum([len(m.time) for m in modes])
    at = [slice(end - len(m.time), end) for m, end in zip(modes, ends, strict=True)]
    linked = np.eye(ends[-1])
    for i in range(len(modes)):
        for j in range(i):
            cells = mutual_inductances(placed[i], placed[j])
            found = _turned(modes[i], turn[i]) @ _weighed(cells, _turned(modes[j], turn[j]))
            linked[at[i], at[j]], linked[at[j], at[i]] = found, found.T
    resistance = np.diag(1 / np.concatenate([m.time for m in modes]))
    time, vectors = eigh(linked, resistance)
    kept = np.flatnonzero(time > FASTEST * time.max())[::-1]
    vectors = vectors[:, kept] / np.sqrt(time[kept])
    return JoinedModes(time[kept], tuple(np.ascontiguousarray(vectors[one]) for one in at))


def _turned(modes: CurrentModes, turn: Array) -> Array:
    """Mean densities (k, 3 c) on the axes of the common frame."""
    found = modes.mean.reshape(len(modes.time), -1, 3) @ turn.T
    return found.reshape(len(modes.time), -1)


def _weighed(cells: Array, mean: Array) -> Array:
    """What the modes' densities (k, 3 d) make in cells by L (c, d): (3 c, k)."""
    count = len(mean)
    found = cells @ mean.reshape(count, -1, 3).transpose(1, 2, 0).reshape(cells.shape[1], -1)
    return found.reshape(3 * len(cells), count)
