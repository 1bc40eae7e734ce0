"""The course of the bodies through a run, at any time: what a camera looks at.

Between two stored frames positions are the cubic through both ends with their velocities
(Hermite), and turns likewise: the rotation vector phi from the earlier frame is the cubic from 0 to
phi_1 = log(q_1 q_0^-1) with rates w_0 and J^-1(phi_1) w_1, J the left Jacobian of SO(3), so that
spins (world axes) match at both ends. Both err by the fourth power of the spacing: 5 ms and a
fourth derivative of 1e6 m/s^4 give 2 micrometres. Two frames that share one time stand before and
after a blow, and nothing is interpolated across it.

Sources: Hermite: Press et al., Numerical Recipes, 3rd ed., 3.3; Jacobian: Chirikjian, Stochastic
Models, Information Theory, and Lie Groups, vol. 2 (2012), section 10.8.6 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from snapsim.arrays import Array, IntArray
from snapsim.render.interpolation import hermite
from snapsim.simulation.trajectory import Trajectory


@dataclass(frozen=True)
class Course:
    """Stored frames k of n bodies: `time` (k,) [s], `position` (k, n, 3) [m], `quaternion`
    (k, n, 4), `velocity` (k, n, 3) [m/s], `spin` (k, n, 3) [rad/s]; `bodies` names them.

    `blows` (b,) [s] are the times of the impacts. `pull` (n, 3) [N] is the magnetic force as placed
    and `mass` (n,) [kg]: what could be measured besides.
    """

    bodies: tuple[str, ...]
    time: Array
    position: Array
    quaternion: Array
    velocity: Array
    spin: Array
    blows: Array
    pull: Array = field(default_factory=lambda: np.empty((0, 3)))
    mass: Array = field(default_factory=lambda: np.empty(0))

    def places(self, body: str, mark: Array, times: Array) -> Array:
        """Return where the point `mark` (3,) of a body is at `times` (...,): (..., 3) [m].

        Before the first frame and after the last one it stays where it is then.
        """
        centre, turn = self._pose(body, times)
        flat = turn.apply(mark)
        return np.asarray(centre + flat.reshape(centre.shape))

    def points(self, body: str, marks: Array, time: float) -> Array:
        """Return where the points `marks` (m, 3) of a body are at one time: (m, 3) [m]."""
        centre, turn = self._pose(body, np.array(time))
        return np.asarray(centre + turn[0].apply(marks))

    def _stretch(self, times: Array) -> tuple[IntArray, Array, Array]:
        """Frame before each time, share of the way to the next, and the spacing [s]."""
        i = np.searchsorted(self.time, times, side="right") - 1
        i = np.clip(i, 0, max(len(self.time) - 2, 0)).astype(np.int64)
        span = self.time[np.minimum(i + 1, len(self.time) - 1)] - self.time[i]
        share = np.where(span > 0, (times - self.time[i]) / np.where(span > 0, span, 1.0), 1.0)
        return i, np.clip(share, 0.0, 1.0), span

    def _pose(self, body: str, times: Array) -> tuple[Array, Rotation]:
        """Centre of mass (..., 3) [m] and turns, flat, of a body."""
        b = self.bodies.index(body)
        i, share, span = self._stretch(np.asarray(times))
        j = np.minimum(i + 1, len(self.time) - 1)
        s, h = share[..., None], span[..., None]
        centre = hermite(
            self.position[i, b], self.position[j, b], self.velocity[i, b], self.velocity[j, b], h, s
        )
        first = Rotation.from_quat(self.quaternion[i, b].reshape(-1, 4), scalar_first=True)
        second = Rotation.from_quat(self.quaternion[j, b].reshape(-1, 4), scalar_first=True)
        whole = (second * first.inv()).as_rotvec().reshape(*i.shape, 3)
        rate = _inverse_left_jacobian(whole, self.spin[j, b])
        way = hermite(np.zeros_like(whole), whole, self.spin[i, b], rate, h, s)
        return centre, Rotation.from_rotvec(way.reshape(-1, 3)) * first


def _inverse_left_jacobian(phi: Array, w: Array) -> Array:
    """J^-1(phi) w = w - phi x w / 2 + c phi x (phi x w), vectors (..., 3)."""
    angle = np.linalg.norm(phi, axis=-1, keepdims=True)
    small = angle < 1e-3
    a = np.where(small, 1.0, angle)
    c = np.where(small, 1 / 12, 1 / a**2 - (1 + np.cos(a)) / (2 * a * np.sin(a)))
    crossed = np.cross(phi, w)
    return np.asarray(w - 0.5 * crossed + c * np.cross(phi, crossed))


def course_of(run: Trajectory, least: float = 0.0) -> Course:
    """Return the course of a run; impacts slower than `least` [m/s] are no blows."""
    return Course(
        tuple(b.name for b in run.system.bodies),
        run.time,
        run.position,
        run.quaternion,
        run.velocity,
        run.spin,
        np.array([i.time for i in run.impacts if i.closing_speed >= least]),
        run.force[0],
        np.array([b.mass for b in run.system.bodies]),
    )
