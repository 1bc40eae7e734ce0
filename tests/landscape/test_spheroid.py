"""A magnetisable spheroid in a uniform field: torque, barrier and stability in closed form.

U(t) = -1/2 mu_0 V H^2 (a_par cos^2 t + a_perp sin^2 t), a = chi/(1 + N chi), the geometry of Stoner
& Wohlfarth, Phil. Trans. A 240, 599 (1948), with induced magnetisation: Landau & Lifshitz,
Electrodynamics of Continuous Media, section 8; N of a prolate spheroid: Osborn, Phys. Rev. 67, 351
(1945), eq. 2.12 (all from memory; the torque's number was computed from them apart from this).
"""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.magnetics.cells import mesh
from snapsim.numerics import rotations
from snapsim.parts.shapes import Sphere

ASPECT, CHI, H0, MINOR = 2.0, 100.0, 1e4, 0.01


@pytest.fixture(scope="module")
def stretched():
    """Cells of a ball, stretched along z: an affine image is exact for volumes and averages."""
    ball = mesh(Sphere(2 * MINOR), "normal")
    along = np.array([1.0, 1.0, ASPECT])
    return replace(
        ball,
        corners=ball.corners * along,
        centre=ball.centre * along,
        points=ball.points * along,
        volume=ball.volume * ASPECT,
    )


@pytest.fixture
def landscape(stretched, make_system, make_body, materials):
    part = make_body("spheroid", Sphere(2 * MINOR), materials["iron"](CHI))
    system = make_system([(part, (0, 0, 0))], gravity=(0, 0, 0))
    return EnergyLandscape(system, 0, meshes={0: stretched}, background=(0, 0, H0))


def turned(angle):
    return Place(np.zeros(3), rotations.from_axis_angle([0, 1, 0], angle))


def factors():
    """Demagnetising factors along and across the long axis."""
    e = np.sqrt(1 - 1 / ASPECT**2)
    along = (1 - e**2) / e**2 * (np.arctanh(e) / e - 1)
    return along, (1 - along) / 2


def test_torque_at_30_degrees(landscape):
    """0.001406248769 N m; the cells miss the polarisabilities' difference by under 1 %."""
    level = landscape.at(turned(np.radians(30)))
    assert level.torque[1] == pytest.approx(-0.001406248769, rel=0.01)


def test_barrier_between_the_two_ways_along_the_field(landscape):
    """Over the pose across the field: 1/2 mu_0 V H^2 (a_par - a_perp)."""
    a_par, a_perp = (CHI / (1 + n * CHI) for n in factors())
    volume = 4 / 3 * np.pi * MINOR**3 * ASPECT
    barrier = landscape.at(turned(np.pi / 2)).energy - landscape.at(turned(0.0)).energy
    assert barrier == pytest.approx(0.5 * MU_0 * volume * H0**2 * (a_par - a_perp), rel=0.01)


def test_along_the_field_is_stable_and_across_it_unstable_by_the_same_stiffness(landscape):
    """d2U/dt2 = +-mu_0 V H^2 (a_par - a_perp) at t = 0 and 90 deg; turns about the field and about
    the long axis change nothing."""
    a_par, a_perp = (CHI / (1 + n * CHI) for n in factors())
    wanted = MU_0 * 4 / 3 * np.pi * MINOR**3 * ASPECT * H0**2 * (a_par - a_perp)
    along = landscape.hessian(turned(0.0))[3:, 3:]
    across = landscape.hessian(turned(np.pi / 2))[3:, 3:]
    assert np.diag(along) == pytest.approx([wanted, wanted, 0.0], rel=0.01, abs=1e-3 * wanted)
    assert across[1, 1] == pytest.approx(-wanted, rel=0.01)
    assert across[2, 2] == pytest.approx(0.0, abs=1e-3 * wanted)
