"""A loop in pose space, there and back another way, yields no energy: the field is conservative."""

import numpy as np

from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.materials.table import MATERIALS
from snapsim.parts.shapes import Box, Ring
from snapsim.parts.states import Pose

STEPS = 96


def test_a_closed_loop_of_a_saturating_ring_does_no_net_work() -> None:
    # first law; equal steps integrate a smooth periodic function to rounding. Position and two
    # angles move at their own harmonics, so that the loop encloses area in several planes.
    magnet = Body(
        "magnet",
        Box((0.06, 0.04, 0.04)),
        Material("grade", 7500.0, remanence=1.35),
        np.array([0.0, 0.0, -1.0]),
        True,
    )
    ring = Body("ring", Ring(0.05, 0.02, 0.01), MATERIALS["grey cast iron"], None, False)
    model = MagneticModel([magnet, ring], 120, tolerance=1e-11)
    net, state = 0.0, None
    energies = []
    for t in 2 * np.pi * np.arange(STEPS) / STEPS:
        place = np.array([0.02 * np.cos(t), 0.01 * np.sin(2 * t), -0.045 + 0.008 * np.sin(t)])
        rate = np.array([-0.02 * np.sin(t), 0.02 * np.cos(2 * t), 0.008 * np.cos(t)])
        tilt, turn = 0.6 * np.sin(t), 0.4 * np.cos(t)
        about_y = rotations.from_axis_angle([0, 1, 0], tilt)
        pose = Pose(
            np.array([[0, 0, 0.02], place]),
            np.array(
                [
                    rotations.IDENTITY,
                    rotations.multiply(about_y, rotations.from_axis_angle([1, 0, 0], turn)),
                ]
            ),
        )
        # spin of a turn about body x after a tilt about world y
        spin = np.array([0, 0.6 * np.cos(t), 0]) - 0.4 * np.sin(t) * rotations.rotate(
            about_y, np.array([1.0, 0, 0])
        )
        state = model.evaluate(pose, state)
        assert state.converged
        energies.append(state.energy)
        net += (state.force[1] @ rate + state.torque[1] @ spin) * 2 * np.pi / STEPS
    assert np.ptp(energies) > 0.3 * np.max(np.abs(energies))
    assert abs(net) < 1e-6 * np.max(np.abs(energies))
