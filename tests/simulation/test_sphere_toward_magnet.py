"""A small iron ball released on the axis of a cylinder magnet, against one-dimensional quadrature.

Force on a small sphere in a field gradient: F = (3 V / mu_0) (chi / (chi + 3)) B dB/dz (Jones,
Electromechanics of Particles, 1995, section 2.1, effective dipole, mu_r = 1 + chi; from memory), so
v^2/2 = [f(z1) - f(z0)] / (density) with f = (3 / (2 mu_0)) (chi / (chi + 3)) B^2 and gravity off.
Axial field of the magnet: B = B_r/2 [(z + L)/sqrt(R^2 + (z + L)^2) - z/sqrt(R^2 + z^2)]
(any text on electromagnetism; from memory).
"""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.parts.shapes import Cylinder, Sphere
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

RADIUS, LENGTH, REMANENCE = 0.03, 0.03, 1.3
BALL, CHI, DENSITY = 0.001, 1.0, 7800.0


def axial_field(z):
    far, near = z + LENGTH, z
    return REMANENCE / 2 * (far / np.hypot(RADIUS, far) - near / np.hypot(RADIUS, near))


def test_small_ball_arrives_with_the_speed_of_the_gradient_force(make_body, make_system, materials):
    """Within 0.1 %: the ball (1 mm) is small against the field's 30 mm scale; next order 0.02 %."""
    magnet = make_body(
        "magnet", Cylinder(2 * RADIUS, LENGTH), materials["magnet"], (0, 0, 1), fixed=True
    )
    ball = make_body("ball", Sphere(BALL), materials["iron"](CHI))
    start, stop = 0.04, BALL / 2
    rows = [(magnet, (0, 0, -LENGTH / 2)), (ball, (0, 0, start))]
    system = make_system(
        rows, duration=1.0, pair=SurfacePair(0.0, 0.3), gravity=(0, 0, 0), detail="draft"
    )
    run = release(system)
    share = 3 * CHI / (CHI + 3) / (2 * MU_0)
    expected = np.sqrt(2 * share * (axial_field(stop) ** 2 - axial_field(start) ** 2) / DENSITY)
    assert run.impacts[0].against == "magnet"
    assert run.impacts[0].closing_speed == pytest.approx(expected, rel=1e-3)
