"""Flight: free rigid bodies between contacts, by an embedded Runge-Kutta pair.

Equations (`rigid_bodies` for the symbols), state y of the f free bodies, 14 numbers each:
dx/dt = v, dq/dt = 1/2 (0, w) q, dv/dt = F/m + g, dL/dt = T, dW/dt = F.v + T.w with F, T the applied
force and torque without gravity and W the work they have done. Integrated with error control and
dense output by the pair of order 8(5,3) for tight bounds, 15 evaluations a step, and by that of
order 5(4) for loose ones, 6 a step, as a contact to come often holds steps short (DOP853, Dormand &
Prince; Hairer, Norsett & Wanner, Solving Ordinary Differential Equations I, 2nd ed., II.5; scipy's
implementation). The quaternion is normalised before each use; its length is no part of the
dynamics.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import DOP853, RK45

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.rigid_bodies import RigidBodies, power, turned_products
from snapsim.numerics.compilation import bare, compiled
from snapsim.parts.states import Pose, State

LoadFunction = Callable[[Pose], tuple[Array, Array]]
"""Applied force and torque (n, 3) each, about the centres of mass, world axes, without gravity."""

WIDTH = 14

LOOSE = 1e-7
"""Relative bound from which the pair of order 5(4) takes over."""


@dataclass(frozen=True)
class Tolerances:
    """Error bounds of one flight step: relative, and absolute for lengths [m] and speeds [m/s]."""

    relative: float = 1e-8
    length: float = 1e-9
    speed: float = 1e-8


class Flight:
    """One stretch of flight: steps forward on demand, interpolates inside the last step.

    `start` is the state at time `begin`; the flight may go on until `end`. Fixed bodies keep the
    pose they have in `start`.
    """

    BOOKS = 1
    """Numbers at the end of y that book energies [J]; the first is the work done."""

    def __init__(
        self,
        bodies: RigidBodies,
        loads: LoadFunction,
        gravity: Array,
        start: State,
        begin: float,
        end: float,
        tolerances: Tolerances,
        first_step: float | None = None,
    ) -> None:
        self._bodies, self._loads, self._gravity, self._start = bodies, loads, gravity, start
        self._moving = bodies.moving
        self._inverse_inertia = np.ascontiguousarray(bodies.inverse_inertia[self._moving])
        self._inverse_mass = bodies.inverse_mass[self._moving]
        y = self._pack(start)
        pair = RK45 if tolerances.relative >= LOOSE else DOP853
        self._solver = pair(
            self._rate,
            begin,
            y,
            end,
            rtol=tolerances.relative,
            atol=self._absolute(tolerances),
            first_step=None if first_step is None else min(first_step, end - begin),
        )
        self._dense: Callable[[float | Array], Array] | None = None
        self._asked: tuple[float, tuple[State, float]] | None = None

    @property
    def time(self) -> float:
        """Time reached [s]."""
        return float(self._solver.t)

    @property
    def last_step(self) -> float:
        """Length of the last accepted step [s]."""
        return float(self._solver.step_size or 0.0)

    @property
    def running(self) -> bool:
        """True until the end is reached or the step size vanishes."""
        return bool(self._solver.status == "running")

    @property
    def failed(self) -> bool:
        """True where the error bound could not be met with any step."""
        return bool(self._solver.status == "failed")

    def step(self, longest: float) -> None:
        """Take one step of at most `longest` [s]."""
        self._solver.max_step = longest
        self._solver.h_abs = min(self._solver.h_abs, longest)
        self._solver.step()
        self._dense = self._solver.dense_output() if not self.failed else None
        self._asked = None

    def at(self, time: float) -> tuple[State, float]:
        """Return the state and the work done so far [J] at a time inside the last step."""
        if self._asked is None or self._asked[0] != time:
            y = self._y(time)
            self._asked = time, (self._unpack(y), float(y[-self.BOOKS]))
        return self._asked[1]

    def poses(self, times: Array) -> list[Pose]:
        """Return the poses at some times (k,) inside the last step."""
        if self._dense is None:
            return [self.at(time)[0].pose for time in times]
        return [self._unpack(y).pose for y in np.ascontiguousarray(self._dense(times).T)]

    def _y(self, time: float) -> Array:
        """The solver's numbers at a time inside the last step."""
        if time == self._solver.t or self._dense is None:
            return np.asarray(self._solver.y)
        return np.asarray(self._dense(time))

    def _pack(self, state: State) -> Array:
        i = self._moving
        momentum = self._bodies.angular_momentum(state)
        columns = [state.pose.position, state.pose.quaternion, state.velocity, momentum]
        flat = np.concatenate([c[i] for c in columns], axis=1)
        padded = np.concatenate([flat, np.zeros((len(i), 1))], axis=1)
        return np.append(padded.ravel(), np.zeros(self.BOOKS))

    def _absolute(self, tolerances: Tolerances) -> Array:
        """Absolute bounds (14 f + 1,): lengths and turns at the rim, speeds, momenta, work."""
        rows = []
        for i in self._moving:
            reach = self._bodies.reach[i]
            inertia = float(np.trace(self._bodies.inertia[i])) / 3
            rows += [tolerances.length] * 3 + [tolerances.length / reach] * 4
            rows += [tolerances.speed] * 3 + [inertia * tolerances.speed / reach] * 3 + [1.0]
        return np.array([*rows, *[np.inf] * self.BOOKS])

    def _unpack(self, y: Array) -> State:
        pose, rows = self._start.pose, y[: -self.BOOKS].reshape(-1, WIDTH)
        fixed = pose.position, pose.quaternion
        position, quaternion, velocity, spin = _kinematics(
            rows, self._moving, self._inverse_inertia, *fixed
        )
        return State(Pose(position, quaternion), velocity, spin)

    def _rate(self, _time: float, y: Array) -> Array:
        state = self._unpack(y)
        force, torque = self._loads(state.pose)
        out = np.empty_like(y)
        self._fill_rates(y, state, force, torque, out)
        out[-1] = power(force, torque, state.velocity, state.spin)
        return out

    def _fill_rates(self, y: Array, state: State, force: Array, torque: Array, out: Array) -> None:
        """Fill dy/dt but for the books, under force and torque (n, 3)."""
        rows, filled = (v[: -self.BOOKS].reshape(-1, WIDTH) for v in (y, out))
        turned, spin = state.pose.quaternion, state.spin
        push = force, torque, self._inverse_mass, self._gravity
        _rates(rows, turned, spin, self._moving, *push, filled)


@compiled
def _kinematics(
    rows: Array, moving: IntArray, inverse_inertia: Array, position: Array, quaternion: Array
) -> tuple[Array, Array, Array, Array]:
    """Positions, unit quaternions, velocities and spins of all n bodies, from the state rows
    (f, 14) of those that move; `inverse_inertia` (f, 3, 3) is theirs, fixed ones keep their pose.
    """
    place, unit = position.copy(), quaternion.copy()
    velocity, momentum = np.zeros(position.shape), np.empty((len(rows), 3))
    turned = np.empty((len(rows), 4))
    for b in range(len(rows)):
        n = moving[b]
        w, x, y, z = rows[b, 3], rows[b, 4], rows[b, 5], rows[b, 6]
        length = np.sqrt(w * w + x * x + y * y + z * z)
        for i in range(4):
            turned[b, i] = unit[n, i] = rows[b, 3 + i] / length
        for i in range(3):
            place[n, i], velocity[n, i] = rows[b, i], rows[b, 7 + i]
            momentum[b, i] = rows[b, 10 + i]
    own, spin = turned_products(inverse_inertia, turned, momentum), np.zeros(position.shape)
    for b in range(len(rows)):
        for i in range(3):
            spin[moving[b], i] = own[b, i]
    return place, unit, velocity, spin


@bare
def _rates(
    rows: Array,
    quaternion: Array,
    spin: Array,
    moving: IntArray,
    force: Array,
    torque: Array,
    inverse_mass: Array,
    gravity: Array,
    out: Array,
) -> None:
    """Fill dy/dt (f, 14) of the bodies that move."""
    for b in range(len(rows)):
        n = moving[b]
        a, i, j, k = quaternion[n, 0], quaternion[n, 1], quaternion[n, 2], quaternion[n, 3]
        x, y, z = spin[n, 0], spin[n, 1], spin[n, 2]
        out[b, 3] = 0.5 * (-x * i - y * j - z * k)
        out[b, 4] = 0.5 * (x * a + y * k - z * j)
        out[b, 5] = 0.5 * (y * a + z * i - x * k)
        out[b, 6] = 0.5 * (z * a + x * j - y * i)
        out[b, 13] = 0.0
        for m in range(3):
            out[b, m] = rows[b, 7 + m]
            out[b, 7 + m] = force[n, m] * inverse_mass[b] + gravity[m]
            out[b, 10 + m] = torque[n, m]
