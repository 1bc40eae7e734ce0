"""Forces in many poses of one scene."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.parts.shapes import Cylinder, Sphere
from snapsim.parts.states import Pose
from snapsim.simulation.force import force, forces

RADIUS, LENGTH, REMANENCE = 0.03, 0.03, 1.3
BALL, CHI = 0.001, 1.0


def axial_field(z):
    """Any text on electromagnetism (from memory); z from the pole's face."""
    far = z + LENGTH
    return REMANENCE / 2 * (far / np.hypot(RADIUS, far) - z / np.hypot(RADIUS, z))


def test_forces_along_the_axis_are_the_gradient_force(make_body, make_system, materials):
    """F = (3 V / mu_0) chi / (chi + 3) B dB/dz on a small ball (Jones, Electromechanics of
    Particles, 1995, section 2.1; from memory). 1e-3: the ball is small against the field's scale
    (2e-4) and its 160 cells hold its moment to 2e-4."""
    magnet = make_body(
        "magnet", Cylinder(2 * RADIUS, LENGTH), materials["magnet"], (0, 0, 1), fixed=True
    )
    ball = make_body("ball", Sphere(BALL), materials["iron"](CHI))
    system = make_system([(magnet, (0, 0, -LENGTH / 2)), (ball, (0, 0, 0.04))], detail="draft")
    heights = np.linspace(0.04, 0.01, 7)
    still = system.start.pose.quaternion
    found = forces(
        system, [Pose(np.array([(0, 0, -LENGTH / 2), (0, 0, z)]), still) for z in heights]
    )
    step = 1e-6
    slope = (axial_field(heights + step) ** 2 - axial_field(heights - step) ** 2) / (4 * step)
    expected = 3 * (np.pi * BALL**3 / 6) / MU_0 * CHI / (CHI + 3) * slope
    assert found.force[:, 1, 2] == pytest.approx(expected, rel=1e-3)
    assert found.force[:, 0] == pytest.approx(-found.force[:, 1], rel=1e-12)
    assert found.converged.all()
    assert found.force[0] == pytest.approx(force(system).force, rel=1e-3, abs=1e-12)
