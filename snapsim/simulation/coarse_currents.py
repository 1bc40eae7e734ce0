"""By how much the cells of conductors brake too little: a bound, from the run's own motions.

While currents do not outlast what drives them, the heat lies between what the network of cells
finds and what the best potential on the same cells leaves (`magnetics.conductors.potential`). At
frames between which the run makes equal heat both are taken for how the bodies move then, and

    share = max over them of (sum of what potentials leave)/(sum of what the cells find) - 1

Against tetrahedra of second degree (blocks, tubes, discs, balls and prisms drawn by seed, magnets
at any side of them): the cells find 0.57 to 1.01 of the heat, the potentials leave 0.99 to 1.04.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.conductors.layout import conductor_cells
from snapsim.magnetics.conductors.potential import PotentialBound, potential_bound
from snapsim.magnetics.sources import magnet_set, source_of
from snapsim.mechanics.brake import moving
from snapsim.numerics import rotations
from snapsim.parts.shapes import Shape
from snapsim.parts.states import Pose, State
from snapsim.simulation.conductors import brakes, braking_conductors
from snapsim.simulation.current_stages import standing_at
from snapsim.simulation.eddy_brake import Conductor, cells_of, modes_of
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

FRAMES: Final = 8
"""Frames that are looked at."""

INSULATED: Final = 1.0
"""The share for compounds, whose members count as insulated where their cells do not meet: a plate
of two halves brakes twice as much where they touch. Measured on none else."""


def coarse_share(run: Trajectory) -> float:
    """Return by what share of itself a run's braking may be too little for the cells it has."""
    system = run.system
    numbers = brakes(system)
    if any(system.bodies[i].shape.simplest.members for i in numbers):
        return INSULATED
    shares = [0.0]
    for k in _frames(run):
        now = standing_at(system, float(run.time[k]))
        state = State(Pose(run.position[k], run.quaternion[k]), run.velocity[k], run.spin[k])
        found, most = np.sum([_heats(now, i, state) for i in numbers], axis=0)
        if found > 0:
            shares.append(most / found - 1)
    return float(max(shares))


def _frames(run: Trajectory) -> Array:
    """Numbers of frames in the middle of equal shares of the heat."""
    heat = np.maximum.accumulate(run.energy["joule_heat"])
    if not (len(heat) > 1 and heat[-1] > heat[0]):
        return np.empty(0, dtype=np.int64)
    wanted = heat[0] + (np.arange(FRAMES) + 0.5) / FRAMES * (heat[-1] - heat[0])
    found: Array = np.unique(np.searchsorted(heat, wanted) - 1)
    return found


def _heats(system: System, number: int, state: State) -> tuple[float, float]:
    """Heat [W] in a conductor by its cells and, at most, by potentials, of slow currents."""
    bodies, conductor = system.bodies, Conductor(number, modes_of(system, number))
    near = braking_conductors(bodies)[number]
    sources = {m: magnet_set([source_of(bodies[m])], [bodies[m].magnetisation]) for m in near}
    grips = conductor.grips(state.pose, sources, near, len(bodies))
    found = float(conductor.modes.time @ (grips @ moving(state)) ** 2)
    shape = bodies[number].shape
    bound = _bound(shape, cells_of(system, number))  # type: ignore[arg-type]
    turn, place = rotations.matrix(state.pose.quaternion[number]), state.pose.position
    world = bound.points @ turn.T + place[number]
    drive = np.zeros_like(world)
    for m in near:
        at = slice(m, m + 1)
        h, _ = sources[m].field_and_gradient(place[at], state.pose.quaternion[at], world)
        passing = _moves(state, number, world) - _moves(state, m, world)
        drive += np.cross(passing, MU_0 * h)
    most = (bodies[number].material.conductivity or 0.0) * bound.heat(drive @ turn)
    return found, most


def _moves(state: State, number: int, points: Array) -> Array:
    """Velocities (p, 3) [m/s] of a body at points (p, 3) [m]."""
    arm = points - state.pose.position[number]
    moves: Array = state.velocity[number] + np.cross(state.spin[number], arm)
    return moves


@lru_cache(maxsize=4)
def _bound(shape: Shape, cells: int) -> PotentialBound:
    return potential_bound(conductor_cells(shape, cells).mesh)
