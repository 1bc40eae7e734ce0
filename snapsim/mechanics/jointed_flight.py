"""Flight of jointed bodies: the flight of free bodies with the reactions of their joints added.

The joints' accelerations are kept by multipliers in every stage (`linkage`), and what is left of
drift is taken out after each step by the nearest displacement and the nearest velocities, weighted
by mass (Eich, SIAM J. Numer. Anal. 30, 1467 (1993); Hairer, Lubich & Wanner, Geometric Numerical
Integration, IV.4; from memory). The work of bearing friction and of what drives a hold are booked
as two more numbers of the state.
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.flight import Flight, LoadFunction, Tolerances
from snapsim.mechanics.linkage import (
    Linkage,
    Mode,
    Reactions,
    kept,
    on_joints_pose,
    on_joints_velocity,
    react,
    stacked_velocity,
)
from snapsim.mechanics.rigid_bodies import RigidBodies, power
from snapsim.parts.states import State

DRIFT = 1e-11
"""Misfit of a joint [m, rad, and per s] above which it is taken out after a step."""


class JointedFlight(Flight):
    """A stretch of flight in which the joints keep one `mode`; otherwise as `Flight`."""

    BOOKS = 3

    def __init__(
        self,
        linkage: Linkage,
        mode: Mode,
        bodies: RigidBodies,
        loads: LoadFunction,
        gravity: Array,
        start: State,
        begin: float,
        end: float,
        *,
        tolerances: Tolerances,
        first_step: float | None = None,
    ) -> None:
        self._linkage, self._mode = linkage, mode
        self._weight = np.where(bodies.free, bodies.mass, 0.0)[:, None] * gravity
        super().__init__(bodies, loads, gravity, start, begin, end, tolerances, first_step)

    def step(self, longest: float) -> None:
        """Take one step of at most `longest` [s] and bring its end back onto the joints."""
        super().step(longest)
        if self.failed or self._misfit() < DRIFT:
            return
        y = self._solver.y
        state = self._unpack(y)
        link, bodies, mode = self._linkage, self._bodies, self._mode
        pose = on_joints_pose(link, bodies, state.pose, self.time, mode)
        state = State(pose, state.velocity, state.spin)
        state = on_joints_velocity(link, bodies, state, self.time, mode)
        fresh = self._pack(state)
        fresh[-self.BOOKS :] = y[-self.BOOKS :]
        self._solver.y, self._asked = fresh, None
        self._solver.f = self._rate(self.time, fresh)

    def books(self, time: float) -> tuple[float, float, float]:
        """Return the work so far [J] of applied forces, of bearing friction (<= 0), of drives."""
        work, friction, drive = self._y(time)[-self.BOOKS :]
        return float(work), float(friction), float(drive)

    def reactions(self, time: float) -> Reactions:
        """Return what the joints do at a time inside the last step."""
        return self._reactions(time, self.at(time)[0])

    def _reactions(self, time: float, state: State) -> Reactions:
        force, torque = self._loads(state.pose)
        force = force + self._weight
        return react(self._linkage, self._bodies, state, time, self._mode, force, torque)

    def _misfit(self) -> float:
        state = self._unpack(self._solver.y)
        rows = self._linkage.rows(state, self.time, self._mode.attached)
        stack = rows.only(kept(rows, self._mode))
        error = np.where(stack.kind == 2, 0.0, np.abs(stack.error))
        slip = np.abs(stack.jacobian @ stacked_velocity(state) - stack.rate)
        return float(max(error.max(initial=0.0), slip.max(initial=0.0)))

    def _rate(self, time: float, y: Array) -> Array:
        state = self._unpack(y)
        found = self._reactions(time, state)
        force, torque = self._loads(state.pose)
        out = np.empty_like(y)
        pull, twist = force + found.wrench[:, :3], torque + found.wrench[:, 3:]
        self._fill_rates(y, state, pull, twist, out)
        given = power(force, torque, state.velocity, state.spin)
        out[-self.BOOKS :] = given, found.friction_power, found.drive_power
        return out
