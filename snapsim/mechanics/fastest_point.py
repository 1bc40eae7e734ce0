"""How fast the fastest point of two faces that meet closes: a flat slap is faster at its far edge.

    v(x) = -n . [v_a + w_a x (x - c_a) - v_b - w_b x (x - c_b)]        [m/s]

over the corners x of either body's surface that lie behind the plane of contact by no more than
`ASLANT` of their distance from the contact point, and no farther from the other body's centre of
mass than its farthest corner; n (3,) from b into a, v velocities, w spins, c centres of mass.
Where such a corner meets nothing the speed is an upper bound. A face lying at a steeper slant has
a blow of its own when it comes down.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.numerics.rotations import crossed
from snapsim.parts.states import State

ASLANT: Final = 0.1
"""Slant of faces that count as meeting flat, 6 deg (our choice)."""


def fastest_closing(
    state: State, pair: IntArray, point: Array, normal: Array, corners: tuple[Array, Array]
) -> float:
    """Return the largest closing speed [m/s] on the faces that meet at `point` (3,).

    `pair` (2,) body numbers a and b, `normal` (3,) from b into a, `corners` (k, 3) of the surfaces
    of a and of b in their own axes [m].
    """
    position, found = state.pose.position, [point[None]]
    for side, sign in ((0, 1.0), (1, -1.0)):
        body, other, own = pair[side], pair[1 - side], corners[side]
        places = position[body] + own @ rotations.matrix(state.pose.quaternion[body]).T
        off = places - point
        flat = sign * (off @ normal) <= ASLANT * np.linalg.norm(off, axis=1)
        near = np.linalg.norm(places - position[other], axis=1) <= _reach(corners[1 - side])
        found.append(places[flat & near])
    return float(_closing(state, pair, normal, np.concatenate(found)).max())


def _reach(corners: Array) -> float:
    """How far the farthest of corners (k, 3) is from the centre of mass [m]."""
    return float(np.linalg.norm(corners, axis=1).max())


def _closing(state: State, pair: IntArray, normal: Array, places: Array) -> Array:
    """Closing speeds (k,) of the two bodies at `places` (k, 3)."""
    a, b = pair
    arms = places - state.pose.position[a], places - state.pose.position[b]
    first = state.velocity[a] + crossed(state.spin[a], arms[0])
    second = state.velocity[b] + crossed(state.spin[b], arms[1])
    rates: Array = -((first - second) @ normal)
    return rates
