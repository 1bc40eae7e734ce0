"""Forces in many poses of one scene."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.landscape.force import force, forces
from snapsim.parts.shapes import Cylinder, Sphere
from snapsim.parts.states import Pose
from snapsim.run.release import release

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


def test_recoil_reaches_force_and_its_error_bar(make_body, make_system, materials):
    """Two magnet balls on one axis pull as dipoles of M_0/(1 + chi/3), weakened by their own field
    (Osborn, Phys. Rev. 67, 351 (1945), N = 1/3), which strengthen each other by 2 alpha/(4 pi r^3)
    each (Jones, Electromechanics of Particles, 1995, ch. 6): F over that of rigid ones."""
    chi, radius, spacing = 0.5, 0.01, 0.08
    grade = replace(materials["magnet"], recoil_permeability=1 + chi)
    one = make_body("one", Sphere(2 * radius), grade, (0, 0, 1), fixed=True)
    other = make_body("other", Sphere(2 * radius), grade, (0, 0, 1))
    rigid = make_system([(one, (0, 0, 0)), (other, (0, 0, spacing))], detail="draft")
    yielding = replace(rigid, recoil=True)
    alpha = 4 * np.pi * radius**3 * chi / (chi + 3)
    expected = (1 + chi / 3) ** -2 * (1 - alpha / (2 * np.pi * spacing**3)) ** -2
    found = force(yielding, accuracy=True)
    ratio = found.force[1, 2] / force(rigid).force[1, 2]
    assert ratio == pytest.approx(expected, rel=3e-3)  # cells of a ball
    assert found.cells[0] > 0
    # the figures are those of a release's cells; the bars' finer mesh is never coarser than they
    assert found.accuracy.cells[0] >= found.cells[0]
    assert found.accuracy.coarse_cells[0] < found.cells[0]
    mean = found.mean_polarisation[0, 2]
    assert mean < 0.9 * force(rigid).mean_polarisation[0, 2]
    run = release(replace(yielding, duration=1e-4))
    assert run.force[0] == pytest.approx(force(yielding).force, rel=1e-5, abs=1e-9)
