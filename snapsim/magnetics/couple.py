"""The couple on one body: what turns its magnetisation into the field of everything else.

    C = mu_0 sum_i v_i M_i x h_i        [N m]

M (c, 3) [A/m] and v (c,) [m^3] of the body's cells (of a magnet: its uniform M, at the points of
its cells' rule), h the field of all other bodies and the background. It is the whole torque in a
uniform field; in an uneven one the uneven pull adds to it. Other soft bodies act through their face
charges (`total_field`). Source: Jackson, Classical Electrodynamics, 3rd ed., section 5.7 (from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.magnet_pair import coil_quadrature
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.magnetics.total_field import TotalField
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose


def couple_on(
    number: int, bodies: Sequence[Body], model: MagneticModel, pose: Pose, state: MagneticState
) -> Array:
    """Return C (3,) on body `number` about any point, world axes; zero for a body that neither
    is a magnet nor soft."""
    body = bodies[number]
    if not (body.is_soft or body.is_magnet):
        return np.zeros(3)
    turn = rotations.matrix(pose.quaternion[number])
    if body.winding is not None:
        points, weights = coil_quadrature(body.winding)
        world = pose.position[number] + points @ turn.T
        mean = weights @ TotalField(bodies, model, pose, state, without=number).h(world)
        on_coil: Array = MU_0 * np.cross(turn @ body.magnetisation, mean)
        return on_coil
    cells = model.cells[number] if number in model.cells else mesh(body.shape, "draft")
    world = pose.position[number] + cells.points.reshape(-1, 3) @ turn.T
    field = TotalField(bodies, model, pose, state, without=number).h(world)
    mean = np.einsum("cq,cqi->ci", cells.weights, field.reshape(*cells.weights.shape, 3))
    changing = (*model.soft, *model.recoiling)
    local = body.magnetisation
    if number in changing:
        local = state.magnetisation[changing.index(number)]
    m = np.broadcast_to(local, mean.shape) @ turn.T
    couple: Array = MU_0 * (cells.volume @ np.cross(m, mean))
    return couple
