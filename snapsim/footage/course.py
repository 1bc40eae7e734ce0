"""The course of the bodies through a run, at any time: what a camera looks at.

Between stored frames it goes by `numerics.between_frames`, as pictures and the page do.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from snapsim.arrays import Array
from snapsim.numerics.between_frames import hermite, stretches, turned
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

    def _pose(self, body: str, times: Array) -> tuple[Array, Rotation]:
        """Centre of mass (..., 3) [m] and turns, flat, of a body."""
        b = self.bodies.index(body)
        at = stretches(self.time, np.asarray(times))
        i, j, s, span = at.before, at.after, at.share[..., None], at.span[..., None]
        p, q, v, w = (x[:, b] for x in (self.position, self.quaternion, self.velocity, self.spin))
        centre = hermite(p[i], p[j], v[i], v[j], span, s)
        turn = turned(q[i], q[j], w[i], w[j], span, s)
        return centre, Rotation.from_quat(turn.reshape(-1, 4), scalar_first=True)


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
