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

from snapsim.arrays import Array
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics.compilation import compiled
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
        self._dense: Callable[[float], Array] | None = None

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

    def at(self, time: float) -> tuple[State, float]:
        """Return the state and the work done so far [J] at a time inside the last step."""
        y = self._y(time)
        return self._unpack(y), float(y[-self.BOOKS])

    def _y(self, time: float) -> Array:
        """The solver's numbers at a time inside the last step."""
        if time == self._solver.t or self._dense is None:
            return np.asarray(self._solver.y)
        return self._dense(time)

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
        rows = y[: -self.BOOKS].reshape(-1, WIDTH)
        start, i = self._start, self._moving
        position, quaternion = start.pose.position.copy(), start.pose.quaternion.copy()
        velocity, spin = np.zeros_like(position), np.zeros_like(position)
        unit, turn = _kinematics(rows, self._inverse_inertia)
        position[i], quaternion[i] = rows[:, :3], unit
        velocity[i], spin[i] = rows[:, 7:10], turn
        return State(Pose(position, quaternion), velocity, spin)

    def _rate(self, _time: float, y: Array) -> Array:
        state = self._unpack(y)
        force, torque = self._loads(state.pose)
        i = self._moving
        rows = y[:-1].reshape(-1, WIDTH)
        out = np.empty_like(y)
        out[-1] = rates(
            rows,
            state.pose.quaternion[i],
            state.spin[i],
            force[i],
            torque[i],
            self._inverse_mass,
            self._gravity,
            out[:-1].reshape(-1, WIDTH),
        )
        return out


@compiled
def _kinematics(rows: Array, inverse_inertia: Array) -> tuple[Array, Array]:
    """Unit quaternions (f, 4) and world spins (f, 3) of state rows (f, 14)."""
    count = rows.shape[0]
    unit, spin = np.empty((count, 4)), np.empty((count, 3))
    for b in range(count):
        q = rows[b, 3:7] / np.sqrt(np.sum(rows[b, 3:7] ** 2))
        unit[b] = q
        w, x, y, z = q[0], q[1], q[2], q[3]
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
        momentum = np.empty(3)
        for i in range(3):
            momentum[i] = turn[0, i] * rows[b, 10] + turn[1, i] * rows[b, 11]
            momentum[i] += turn[2, i] * rows[b, 12]
        body = np.empty(3)
        for i in range(3):
            body[i] = np.sum(inverse_inertia[b, i] * momentum)
        for i in range(3):
            spin[b, i] = np.sum(turn[i] * body)
    return unit, spin


@compiled
def rates(
    rows: Array,
    unit: Array,
    spin: Array,
    force: Array,
    torque: Array,
    inverse_mass: Array,
    gravity: Array,
    out: Array,
) -> float:
    """Fill dy/dt (f, 14) and return the power of force and torque [W]."""
    power = 0.0
    for b in range(rows.shape[0]):
        a, i, j, k = unit[b, 0], unit[b, 1], unit[b, 2], unit[b, 3]
        x, y, z = spin[b, 0], spin[b, 1], spin[b, 2]
        out[b, 0:3] = rows[b, 7:10]
        out[b, 3] = 0.5 * (-x * i - y * j - z * k)
        out[b, 4] = 0.5 * (x * a + y * k - z * j)
        out[b, 5] = 0.5 * (y * a + z * i - x * k)
        out[b, 6] = 0.5 * (z * a + x * j - y * i)
        out[b, 7:10] = force[b] * inverse_mass[b] + gravity
        out[b, 10:13] = torque[b]
        out[b, 13] = 0.0
        power += np.sum(force[b] * rows[b, 7:10]) + np.sum(torque[b] * spin[b])
    return power
