"""Fields of several posed magnets at world points: H = sum of R H'(R^T (x - p)), dH/dx likewise.

H [A/m] (k, 3) and G = dH/dx [A/m^2] (k, 3, 3); p (m, 3) [m] and the unit quaternions of R (m, 4),
scalar first, body to world. Assumes rigid, uniform magnetisations that do not act on one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, ArrayLike, IntArray, as_floats
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.magnetics.sources.evaluation import add_world


@dataclass(frozen=True, eq=False)
class MagnetSet:
    """Magnets packed for the compiled loop: kernel `codes` (m,), `parameters` of magnet i from
    `starts[i]` to `starts[i + 1]`, `magnetisations` (m, 3) in body axes [A/m]."""

    codes: IntArray
    starts: IntArray
    parameters: Array
    magnetisations: Array

    def field_and_gradient(
        self, positions: Array, quaternions: Array, points: Array
    ) -> tuple[Array, Array]:
        """Return H (k, 3) and G (k, 3, 3) at world `points` (k, 3), all magnets added up.

        `positions` (m, 3) [m], `quaternions` (m, 4), `points`: float64 arrays.
        """
        h, g = np.zeros((len(points), 3)), np.zeros((len(points), 3, 3))
        self.add_field_and_gradient(positions, quaternions, points, h, g)
        return h, g

    def add_field_and_gradient(
        self, positions: Array, quaternions: Array, points: Array, h: Array, g: Array
    ) -> None:
        """Add to `h` (k, 3) and `g` (k, 3, 3) in place; arguments as in `field_and_gradient`."""
        add_world(
            self.codes, self.starts, self.parameters, self.magnetisations,
            positions, quaternions, points, h, g,
        )  # fmt: skip


def magnet_set(sources: Sequence[FieldSource], magnetisations: ArrayLike) -> MagnetSet:
    """Return the packed magnets; `magnetisations` (m, 3) in body axes [A/m]."""
    sizes = [0, *(len(s.parameters) for s in sources)]
    return MagnetSet(
        codes=np.array([s.code for s in sources], dtype=np.int64),
        starts=np.cumsum(sizes).astype(np.int64),
        parameters=np.concatenate([np.empty(0), *(s.parameters for s in sources)]),
        magnetisations=as_floats(magnetisations).reshape(-1, 3),
    )


def field_of_magnets(
    magnets: MagnetSet, positions: ArrayLike, quaternions: ArrayLike, points: ArrayLike
) -> tuple[Array, Array]:
    """Return H (k, 3) [A/m] and G (k, 3, 3) [A/m^2] at world points (k, 3), from any array-like."""
    return magnets.field_and_gradient(
        as_floats(positions).reshape(-1, 3),
        as_floats(quaternions).reshape(-1, 4),
        as_floats(points).reshape(-1, 3),
    )
