"""How much conductors that move relative to each other may change each other's braking: a bound.

Their currents are computed as if they were alone (`eddy_brake`). What one's induce in the other is
k of what these do in it themselves, at most, k the norm of their mutual inductance in the slowest
modes; and it matters as far as currents outlast what drives them: where tau q is small (q how fast
that changes, tau of the slowest mode) all are driven by the magnets alone. So of the heat between
two frames

    share <= k min(1, tau q)

may be wrong. Two plates of 3 mm, one on the other, under a magnet 14 mm above them at 0.5, 2, 6 m/s
(w = 2/(mu0 sigma h) of both is 4.6 m/s): 0, 8 and 27 % of the heat, for which this says 9, 36 and
84 %. Which way it goes follows from how they lie: one behind the other as seen from the
magnet, they shield each other and brake less than here.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.conductors.modes import CurrentModes
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State
from snapsim.simulation.conductors import brakes, braking_conductors, joined
from snapsim.simulation.eddy_brake import modes_of, quickness
from snapsim.simulation.trajectory import Trajectory

MOST_FRAMES: Final = 200

SLOWEST: Final = 12
"""Modes of each conductor in which the mutual inductance is looked at."""

SOFT: Final = 0.5
"""Share of cells' sizes that their distance is softened by: a cube's mean of 1/r is 1.88 over its
edge."""


def unjoined_share(run: Trajectory) -> float:
    """Return the share (0 to 1) of a run's Joule heat that may be wrong for what conductors that
    move relative to each other induce in each other; 0 where there are none."""
    circuits = joined(run.system) if brakes(run.system) else []
    if len(circuits) < 2 or len(run.time) < 2 or "joule_heat" not in run.energy:
        return 0.0
    at = np.unique(np.linspace(0, len(run.time) - 1, MOST_FRAMES).astype(int))
    heat = np.maximum(np.diff(run.energy["joule_heat"][at]), 0.0)
    if not heat.sum() > 0:
        return 0.0
    shares = np.array([_share(run, circuits, _state(run, k)) for k in at])
    worse = np.maximum(shares[1:], shares[:-1])
    return float(heat @ worse / heat.sum())


def _state(run: Trajectory, frame: int) -> State:
    pose = Pose(run.position[frame], run.quaternion[frame])
    return State(pose, run.velocity[frame], run.spin[frame])


def _share(run: Trajectory, circuits: Sequence[Sequence[int]], state: State) -> float:
    """The largest share at a moment of any two conductors of different circuits."""
    near = braking_conductors(run.system.bodies)
    found = [0.0]
    for one, other in combinations(circuits, 2):
        for i, j in product(one, other):
            modes = modes_of(run.system, i), modes_of(run.system, j)
            driven = (
                m.time[0] * quickness(state, m, n, magnet)
                for m, n in zip(modes, (i, j), strict=True)
                for magnet in near[n]
            )
            found.append(_coupling(*modes, state.pose, i, j) * min(1.0, max(driven)))
    return max(found)


def _coupling(one: CurrentModes, two: CurrentModes, pose: Pose, i: int, j: int) -> float:
    """The norm of the mutual inductance in the slowest modes of each, whose own is 1."""
    (at, flow), (other, back) = _flowing(one, pose, i), _flowing(two, pose, j)
    apart = np.linalg.norm(at[:, None] - other[None], axis=2)
    size = np.cbrt(one.bricks.volume)[:, None] * np.cbrt(two.bricks.volume)
    inverse = 1 / np.hypot(apart, SOFT * np.sqrt(size))
    mutual = MU_0 / (4 * np.pi) * sum(flow[..., a] @ inverse @ back[..., a].T for a in range(3))
    return min(1.0, float(np.linalg.norm(mutual, 2)))


def _flowing(modes: CurrentModes, pose: Pose, number: int) -> tuple[Array, Array]:
    """Centres (c, 3) [m] of a conductor's cells, and what flows in each in the slowest modes (k, c,
    3) [A m per root joule]."""
    turn = rotations.matrix(pose.quaternion[number])
    flow = modes.mean[:SLOWEST].reshape(-1, modes.cells, 3) @ turn.T
    return modes.bricks.placed(pose.position[number], turn).centre, (
        flow * modes.bricks.volume[:, None]
    )
