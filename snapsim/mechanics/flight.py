"""Flight: rigid bodies between contacts, free or on their joints, by an embedded Runge-Kutta pair.

Equations (`rigid_bodies` for the symbols), state y of the f free bodies, 14 numbers each:
dx/dt = v, dq/dt = 1/2 (0, w) q, dv/dt = F/m + g, dL/dt = T, dW/dt = F.v + T.w with F, T the applied
force and torque without gravity and W the work they have done. Integrated with error control and
dense output by the pair of order 8(5,3) for tight bounds, 15 evaluations a step, and by that of
order 5(4) for loose ones, 6 a step, as a contact to come often holds steps short
(`numerics.runge_kutta`). The quaternion is normalised before each use; its length is no part of
the dynamics.

Joints add their reactions to F and T in every stage (`linkage`), and what is left of drift is taken
out after each step by the nearest displacement and the nearest velocities, weighted by mass (Eich,
SIAM J. Numer. Anal. 30, 1467 (1993); Hairer, Lubich & Wanner, Geometric Numerical Integration,
IV.4; from memory). The works of bearing friction and of what drives a hold are then two more
numbers of the state.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.brake import Stirred, in_flight
from snapsim.mechanics.linkage import (
    FRICTION,
    Mode,
    Reactions,
    kept,
    on_joints_pose,
    on_joints_velocity,
    react,
    stacked_velocity,
)
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import Tolerances
from snapsim.mechanics.rigid_bodies import power, turned_products
from snapsim.numerics.compilation import bare, compiled
from snapsim.numerics.runge_kutta import EIGHTH, FIFTH, Integration, Stride
from snapsim.parts.states import Pose, State

WIDTH: Final = 14

LOOSE: Final = 1e-7
"""Relative bound from which the pair of order 5(4) takes over."""

DRIFT: Final = 1e-11
"""Misfit of a joint [m, rad, and per s] above which it is taken out after a step."""


@dataclass(frozen=True)
class FlightEquations:
    """The equations of a stretch of flight in which the joints keep one `mode`.

    Fixed bodies keep the pose they have in `start`. Of a brake the first `remembered` amplitudes
    are part of the state.
    """

    problem: MotionProblem
    mode: Mode
    start: State
    remembered: int = 0

    @cached_property
    def _end(self) -> int:
        """Where the bodies' numbers end in y: those of a brake follow, then the books."""
        return WIDTH * len(self._moving)

    @cached_property
    def _brakes(self) -> int:
        """Numbers of a brake in y: amplitudes that are remembered, and the heat [J] since."""
        return 0 if self.problem.brake is None else self.remembered + 1

    @cached_property
    def books(self) -> int:
        """Numbers at the end of y that book energies [J]: the work done; then, with joints, that of
        bearing friction (<= 0) and of drives."""
        return 3 if self.problem.joints else 1

    @cached_property
    def _moving(self) -> IntArray:
        return self.problem.bodies.moving

    @cached_property
    def _inverse_inertia(self) -> Array:
        return np.ascontiguousarray(self.problem.bodies.inverse_inertia[self._moving])

    @cached_property
    def _inverse_mass(self) -> Array:
        return self.problem.bodies.inverse_mass[self._moving]

    def pack(self, state: State, books: Array | None = None, brakes: Array | None = None) -> Array:
        """Return y of a state, its books, and a brake's numbers, zero unless given."""
        i = self._moving
        momentum = self.problem.bodies.angular_momentum(state)
        columns = [state.pose.position, state.pose.quaternion, state.velocity, momentum]
        flat = np.concatenate([c[i] for c in columns], axis=1)
        padded = np.concatenate([flat, np.zeros((len(i), 1))], axis=1)
        brakes = np.zeros(self._brakes) if brakes is None else brakes
        books = np.zeros(self.books) if books is None else books
        return np.concatenate([padded.ravel(), brakes, books])

    def state(self, y: Array) -> State:
        """Return the state of y."""
        pose, rows = self.start.pose, y[: self._end].reshape(-1, WIDTH)
        fixed = pose.position, pose.quaternion
        position, quaternion, velocity, spin = _kinematics(
            rows, self._moving, self._inverse_inertia, *fixed
        )
        return State(Pose(position, quaternion), velocity, spin)

    def absolute(self, tolerances: Tolerances) -> Array:
        """Absolute bounds of y: lengths and turns at the rim, speeds, momenta; none for books."""
        rows, bodies = [], self.problem.bodies
        for i in self._moving:
            reach = bodies.reach[i]
            inertia = float(np.trace(bodies.inertia[i])) / 3
            rows += [tolerances.length] * 3 + [tolerances.length / reach] * 4
            rows += [tolerances.speed] * 3 + [inertia * tolerances.speed / reach] * 3 + [1.0]
        mass = float(bodies.mass[self._moving].sum())
        stirred = [mass**0.5 * tolerances.speed] * self._brakes
        stirred[-1:] = [np.inf] * len(stirred[-1:])
        return np.array([*rows, *stirred, *[np.inf] * self.books])

    def rate(self, time: float, y: Array) -> Array:
        """Return dy/dt."""
        state, out = self.state(y), np.empty_like(y)
        force, torque = self.problem.loads(state.pose)
        push, twist = force, torque
        if self.problem.brake is not None:
            stirred, rates, heat = in_flight(self.problem.brake, state, self.amplitudes(y))
            push, twist = force + stirred.force, torque + stirred.torque
            out[self._end : -self.books - 1], out[-self.books - 1] = rates, heat
        if self.problem.joints:
            found = self.reactions(time, state, push, twist)
            push, twist = push + found.wrench[:, :3], twist + found.wrench[:, 3:]
            out[-2:] = found.friction_power, found.drive_power
        rows, filled = (v[: self._end].reshape(-1, WIDTH) for v in (y, out))
        loads = push, twist, self._inverse_mass, self.problem.gravity
        _rates(rows, state.pose.quaternion, state.spin, self._moving, *loads, filled)
        out[-self.books] = power(force, torque, state.velocity, state.spin)
        return out

    def amplitudes(self, y: Array) -> Array:
        """Return the amplitudes of a brake that are remembered."""
        return y[self._end : self._end + self.remembered]

    def reactions(self, time: float, state: State, force: Array, torque: Array) -> Reactions:
        """Return what the joints do under an applied `force` and `torque` (n, 3)."""
        problem, pull = self.problem, force + self.problem.weight
        return react(problem.linkage, problem.bodies, state, time, self.mode, pull, torque)

    def on_joints(self, time: float, y: Array) -> Array | None:
        """Return the nearest y on the joints; None where it is there to `DRIFT`."""
        problem, state = self.problem, self.state(y)
        rows = problem.linkage.rows(state, time, self.mode.attached)
        stack = rows.only(kept(rows, self.mode))
        error = np.where(stack.kind == FRICTION, 0.0, np.abs(stack.error))
        slip = np.abs(stack.jacobian @ stacked_velocity(state) - stack.rate)
        if max(error.max(initial=0.0), slip.max(initial=0.0)) < DRIFT:
            return None
        given = problem.linkage, problem.bodies
        state = replace(state, pose=on_joints_pose(*given, state.pose, time, self.mode))
        state = on_joints_velocity(*given, state, time, self.mode)
        return self.pack(state, y[-self.books :], y[self._end : -self.books])


@dataclass(frozen=True)
class Flight:
    """A flight and its last step; `state` is where it has come to, exactly."""

    equations: FlightEquations
    integration: Integration
    last: Stride
    state: State

    @property
    def time(self) -> float:
        """Time reached [s]."""
        return self.last.end

    @property
    def running(self) -> bool:
        """True until the end is reached."""
        return self.last.end < self.integration.end

    def step(self, longest: float) -> Flight | None:
        """Return the flight after a step of at most `longest` [s], its end on the joints; None
        where no step meets the error bound."""
        equations, last = self.equations, self.integration.step(self.last, longest)
        if last is None:
            return None
        y = equations.on_joints(last.end, last.after) if equations.problem.joints else None
        if y is not None:
            last = replace(last, after=y, rate=equations.rate(last.end, y))
        return replace(self, last=last, state=equations.state(last.after))

    def at(self, time: float) -> State:
        """Return the state at a time inside the last step."""
        return self.state if time == self.time else self.equations.state(self._y(time))

    def books(self, time: float) -> Array:
        """Return the energies [J] booked since the flight began, at a time inside the last step."""
        return self._y(time)[-self.equations.books :]

    def reactions(self, time: float) -> Reactions:
        """Return what the joints do at a time inside the last step."""
        state, stirred = self.at(time), self.stirred(time)
        force, torque = self.equations.problem.loads(state.pose)
        if stirred is not None:
            force, torque = force + stirred.force, torque + stirred.torque
        return self.equations.reactions(time, state, force, torque)

    def stirred(self, time: float) -> Stirred | None:
        """Return what a brake does at a time inside the last step; None without one."""
        brake = self.equations.problem.brake
        if brake is None:
            return None
        return in_flight(brake, self.at(time), self.equations.amplitudes(self._y(time)))[0]

    def heat(self, time: float) -> float:
        """Return the heat [J] that a brake made since the flight began."""
        equations = self.equations
        if equations.problem.brake is None:
            return 0.0
        return float(self._y(time)[-equations.books - 1])

    def poses(self, times: Array) -> list[Pose]:
        """Return the poses at some times (k,) inside the last step."""
        return [self.equations.state(y).pose for y in self.last.at(times)]

    def _y(self, time: float) -> Array:
        y: Array = self.last.after if time == self.time else self.last.at(np.array([time]))[0]
        return y


def take_off(
    problem: MotionProblem,
    mode: Mode,
    start: State,
    begin: float,
    end: float,
    first: float | None = None,
    stirred: Array | None = None,
) -> Flight:
    """Return a flight from `start` at `begin` that goes on until `end` [s], its first step of
    length `first`, or as the equations ask for; it remembers the amplitudes `stirred` (m,)."""
    remembered = np.zeros(0) if stirred is None else stirred
    equations = FlightEquations(problem, mode, start, len(remembered))
    bounds = problem.settings.tolerances
    pair = FIFTH if bounds.relative >= LOOSE else EIGHTH
    absolute = equations.absolute(bounds)
    integration = Integration(equations.rate, pair, bounds.relative, absolute, end)
    brakes = None if stirred is None else np.append(remembered, 0.0)
    y = equations.pack(start, brakes=brakes)
    last = integration.start(begin, y, None if first is None else min(first, end - begin))
    return Flight(equations, integration, last, equations.state(y))


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
