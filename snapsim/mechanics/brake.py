"""A brake with a memory: what moving bodies stir up, what dies away, and what it does to them.

    a_k' = -a_k / tau_k - g_k . u,      wrench = sum a_k g_k,      heat = sum a_k^2 / tau_k

u (6 n,) velocities and spins of n bodies, a (k,) [root joule] amplitudes, tau (k,) [s] times in
which they die away, g (k, 6 n) the force and torque on every body for each, a function of the pose.
What the bodies lose is stored, 1/2 sum a^2, or has become heat. Where tau is short against the time
in which g . u changes, a_k = -tau_k g_k . u: a drag without memory, -sum tau_k g_k (g_k . u).
Flight keeps only the amplitudes that are slower than that in its state (the slowest come first),
and what the others store is booked as heat: their error is (tau over that time) squared. A step of
contact takes g and u as even in it, for which a(t) is known in closed form at any length of step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from snapsim.arrays import Array
from snapsim.parts.states import Pose, State

SLOW: Final = 0.05
"""Time of dying away, over that in which what drives it changes, above which a flight remembers
it."""

AHEAD: Final = 2.0
"""Speed, over the present one, up to which a flight goes on with the modes it remembers."""

BEHIND: Final = 8.0
"""Speed, over the present one, for which it need not remember as many as it does to begin anew."""


class Brake(Protocol):
    """What brakes: `time` (k,) [s], the slowest first."""

    @property
    def time(self) -> Array:
        """Times (k,) [s] in which amplitudes die away, falling."""

    def grips(self, pose: Pose) -> Array:
        """Return g (k, 6 n): force [N] and torque [N m] on every body per root joule."""

    def quickness(self, state: State) -> float:
        """Return how fast g . u may change [1/s]."""


@dataclass(frozen=True)
class Stirred:
    """What a brake does at a moment: `amplitude` (k,), `wrench` (n, 6) on the bodies [N, N m], and
    what is `stored` [J]."""

    amplitude: Array
    wrench: Array
    stored: float

    @property
    def force(self) -> Array:
        """Force (n, 3) [N]."""
        return self.wrench[:, :3]

    @property
    def torque(self) -> Array:
        """Torque (n, 3) [N m] about the centres of mass."""
        return self.wrench[:, 3:]


def moving(state: State) -> Array:
    """Return velocities and spins (6 n,)."""
    return np.concatenate([state.velocity, state.spin], axis=1).ravel()


def remembered(brake: Brake, quickness: float) -> int:
    """Return how many amplitudes a flight must remember where g . u changes that fast [1/s]."""
    return int(np.count_nonzero(brake.time * quickness > SLOW))


def in_flight(brake: Brake, state: State, slow: Array) -> tuple[Stirred, Array, float]:
    """Return what acts in flight, the rates (m,) of the `slow` amplitudes (m,), and the heat [W];
    the other amplitudes follow the motion."""
    grips, count = brake.grips(state.pose), len(slow)
    driven = grips @ moving(state)
    quick = -brake.time[count:] * driven[count:]
    amplitude = np.concatenate([slow, quick])
    stirred = Stirred(amplitude, (amplitude @ grips).reshape(-1, 6), 0.5 * float(slow @ slow))
    heat = float((amplitude**2 / brake.time).sum())
    return stirred, -slow / brake.time[:count] - driven[:count], heat


def at_rest(brake: Brake, pose: Pose, amplitude: Array) -> Stirred:
    """Return what known amplitudes (k,) do at a pose."""
    wrench = (amplitude @ brake.grips(pose)).reshape(-1, 6)
    return Stirred(amplitude, wrench, 0.5 * float(amplitude @ amplitude))


@dataclass(frozen=True)
class EvenStep:
    """A step of `length` [s] with g (k, 6 n) and u even in it, from amplitudes (k,)."""

    time: Array
    grips: Array
    before: Array
    length: float

    @property
    def _left(self) -> Array:
        """Share of an amplitude that is left at the end (k,)."""
        left: Array = np.exp(-self.length / self.time)
        return left

    @property
    def _mean_left(self) -> Array:
        """Mean share that is left within the step (k,)."""
        mean: Array = -np.expm1(-self.length / self.time) * self.time / self.length
        return mean

    def mean(self, moved: Array) -> Array:
        """Return the amplitudes' means (k,) for velocities and spins `moved` (6 n,)."""
        share = self._mean_left
        found: Array = share * self.before - self.time * (1 - share) * (self.grips @ moved)
        return found

    def wrench(self, moved: Array) -> Array:
        """Return mean force and torque (n, 6) [N, N m]."""
        return (self.mean(moved) @ self.grips).reshape(-1, 6)

    def after(self, moved: Array) -> Array:
        """Return the amplitudes (k,) at its end."""
        left = self._left
        found: Array = left * self.before - self.time * (1 - left) * (self.grips @ moved)
        return found

    def heat(self, moved: Array) -> float:
        """Return the heat [J]: what the bodies lose less what is stored of it."""
        after = self.after(moved)
        lost = -self.length * float(self.mean(moved) @ (self.grips @ moved))
        return lost - 0.5 * float(after @ after - self.before @ self.before)


def slowing(brake: Brake, pose: Pose, inverse_mass: Array, longest: float) -> float:
    """Return an upper bound of the rate [1/s] at which a brake stops bodies in a step of at most
    `longest` [s]; `inverse_mass` (n, 6) of bodies, the largest about any axis."""
    grips = brake.grips(pose) ** 2 @ inverse_mass.ravel()
    return float(np.minimum(brake.time, 0.5 * longest) @ grips)
