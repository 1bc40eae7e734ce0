"""Places and turns between stored frames, of fourth order: the one course for all who show a run.

Between two frames a place is the cubic through both ends with their velocities (Hermite), and a
turn likewise: the rotation vector phi from the earlier frame is the cubic from 0 to
phi_1 = log(q_1 q_0^-1) with rates w_0 and J^-1(phi_1) w_1, J the left Jacobian of SO(3), so that
spins (world axes) match at both ends. Both err by the fourth power of the spacing: 5 ms and a
fourth derivative of 1e6 m/s^4 give 2 micrometres. Two frames that share one time stand before and
after a blow: nothing is mixed across it, and the shared time itself shows the later frame.

Where spins and turn do not belong together (frames so far apart that the body turned by more than
half a revolution between them, as in a thinned run) the turn goes evenly, the short way.

Sources: Hermite: Press et al., Numerical Recipes, 3rd ed., 3.3; Jacobian: Chirikjian, Stochastic
Models, Information Theory, and Lie Groups, vol. 2 (2012), section 10.8.6 (both from memory).
`page/assets/playing.js` holds the same for the browser; a test holds it to this.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from snapsim.arrays import Array, IntArray

APART: Final = 0.5 * np.pi
"""Angle [rad] between a turn and what the mean of its ends' spins makes of the time between, from
which on it goes evenly."""


@dataclass(frozen=True)
class Stretches:
    """Where times lie among frames, all (...,): the frame `before` and the one `after`, the `share`
    of the way between them and their `span` [s]."""

    before: IntArray
    after: IntArray
    share: Array
    span: Array


def stretches(time: Array, times: Array) -> Stretches:
    """Return where `times` (...,) lie among the frames' `time` (k,); held at the ends outside."""
    last = len(time) - 1
    before = np.clip(np.searchsorted(time, times, side="right") - 1, 0, max(last - 1, 0))
    after = np.minimum(before + 1, last)
    span = np.asarray(time[after] - time[before])
    share = np.where(span > 0, (times - time[before]) / np.where(span > 0, span, 1.0), 1.0)
    return Stretches(before, after, np.clip(share, 0.0, 1.0), span)


def hermite(
    p0: Array, p1: Array, v0: Array, v1: Array, span: float | Array, s: float | Array
) -> Array:
    """Return the cubic through p0, p1 with end velocities v0, v1; `s` in 0..1 over `span` [s].

    Of many stretches at once, `span` and `s` are (..., 1).
    """
    a = s * s * (3 - 2 * s)
    return p0 + a * (p1 - p0) + span * (s * (1 - s) ** 2 * v0 - s * s * (1 - s) * v1)


def turned(
    q0: Array, q1: Array, w0: Array, w1: Array, span: float | Array, s: float | Array
) -> Array:
    """Return unit quaternions (..., 4) between q0 and q1 with spins w0, w1 (..., 3) [rad/s], world
    axes, at their ends; `span` and `s` as for `hermite`."""
    first = Rotation.from_quat(np.reshape(q0, (-1, 4)), scalar_first=True)
    second = Rotation.from_quat(np.reshape(q1, (-1, 4)), scalar_first=True)
    whole = (second * first.inv()).as_rotvec().reshape(np.shape(w0))
    cubic = hermite(np.zeros_like(whole), whole, w0, _inverse_left_jacobian(whole, w1), span, s)
    astray = np.linalg.norm(0.5 * span * (w0 + w1) - whole, axis=-1, keepdims=True) > APART
    way = np.where(astray, s * whole, cubic)
    found = Rotation.from_rotvec(way.reshape(-1, 3)) * first
    return np.asarray(found.as_quat(scalar_first=True)).reshape(np.shape(q0))


def _inverse_left_jacobian(phi: Array, w: Array) -> Array:
    """J^-1(phi) w = w - phi x w / 2 + c phi x (phi x w), vectors (..., 3)."""
    angle = np.linalg.norm(phi, axis=-1, keepdims=True)
    small = angle < 1e-3
    a = np.where(small, 1.0, angle)
    c = np.where(small, 1 / 12, 1 / a**2 - (1 + np.cos(a)) / (2 * a * np.sin(a)))
    crossed = np.cross(phi, w)
    return np.asarray(w - 0.5 * crossed + c * np.cross(phi, crossed))
