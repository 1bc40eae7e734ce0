"""Magnets that yield by their recoil permeability."""

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, Shape, Sphere
from snapsim.parts.states import Pose

STILL = np.array([1.0, 0.0, 0.0, 0.0])
UP = np.array([0.0, 0.0, 1.0])


def magnet(shape: Shape, recoil_permeability: float | None, remanence: float = 1.2) -> Body:
    grade = Material("grade", 7500.0, remanence=remanence, recoil_permeability=recoil_permeability)
    return Body("magnet", shape, grade, UP, True)


def pose(*places: tuple[float, float, float], turned: Array = STILL) -> Pose:
    return Pose(np.array(places, float), np.array([STILL] * (len(places) - 1) + [turned]))


# Ball: H = -M/3, M = M_0 + chi H, so M = M_0 / (1 + chi/3) (Osborn, Phys. Rev. 67, 351 (1945), for
# N = 1/3). 1e-3: the cells hold a ball's moment to 5e-4.
@pytest.mark.parametrize("mu_rec", [1.05, 1.3, 3.0])
def test_a_lone_magnet_ball_yields_to_its_own_field(mu_rec: float) -> None:
    model = MagneticModel([magnet(Sphere(0.02), mu_rec)], 200, 1e-10, recoil=True)
    found = model.evaluate(pose((0, 0, 0), turned=rotations.from_rotation_vector([0.3, 0.1, 0.2])))
    mean = model.cells[0].volume @ found.magnetisation[0] / model.cells[0].volume.sum()
    expected = 1.2 / MU_0 / (1 + (mu_rec - 1) / 3)
    assert mean == pytest.approx([0, 0, expected], rel=1e-3, abs=1e-6 * expected)
    assert not found.force.any()
    assert np.abs(found.torque).max() < 1e-12


def test_two_magnet_balls_pull_as_dipoles_that_strengthen_each_other() -> None:
    # On one axis, r = 8 radii: m = m_0 + alpha H, H = 2 m / (4 pi r^3), alpha = 4 pi a^3 chi /
    # (chi + 3), m_0 = V M_0 / (1 + chi/3); F = 3 mu_0 m^2 / (2 pi r^4) (Jones, Electromechanics of
    # Particles, 1995, ch. 6). Multipoles beyond add (a/r)^5 of it; cells 1e-3.
    radius, chi, spacing = 0.01, 1.5, 0.08
    ball = magnet(Sphere(2 * radius), 1 + chi)
    model = MagneticModel([ball, ball], 200, 1e-11, recoil=True)
    found = model.evaluate(pose((0, 0, 0), (0, 0, spacing)))
    alpha = 4 * np.pi * radius**3 * chi / (chi + 3)
    moment = 4 / 3 * np.pi * radius**3 * 1.2 / MU_0 / (1 + chi / 3)
    moment /= 1 - alpha * 2 / (4 * np.pi * spacing**3)
    expected = 3 * MU_0 * moment**2 / (2 * np.pi * spacing**4)
    assert found.force[0, 2] == pytest.approx(expected, rel=3e-3)
    rigid = MagneticModel([ball, ball], 200, 1e-11).evaluate(pose((0, 0, 0), (0, 0, spacing)))
    assert rigid.force[0, 2] > 2 * found.force[0, 2]


def stage() -> list[Body]:
    iron = Material("iron", 7200.0, curve=MagnetisationCurve(300.0, 1.6))
    return [
        magnet(Box((0.04, 0.03, 0.02)), 1.2),
        magnet(Cylinder(0.02, 0.01), 1.05),
        Body("part", Cylinder(0.02, 0.008), iron, None, False),
    ]


def test_force_is_the_gradient_and_balances_beside_iron_with_recoil() -> None:
    model = MagneticModel(stage(), 50, 1e-13, recoil=True)
    turned = rotations.from_rotation_vector([0.2, 0.4, 0.1])
    places = np.array([(0.0, 0.0, 0.0), (0.035, 0.0, 0.01), (0.005, 0.002, 0.022)])
    found = model.evaluate(Pose(places, np.array([STILL, STILL, turned])))
    assert model.recoiling == (0, 1)
    assert len(found.magnetisation) == 3
    largest = np.abs(found.force).max()
    assert np.abs(found.force.sum(axis=0)).max() < 1e-12 * largest
    total = (found.torque + np.cross(places, found.force)).sum(axis=0)
    assert np.abs(total).max() < 1e-12 * np.abs(found.torque).max()
    for body in range(3):
        for k in range(3):
            step = np.zeros((3, 3))
            step[body, k] = 1e-6
            ahead, behind = (
                model.evaluate(Pose(places + s, np.array([STILL, STILL, turned])), found).energy
                for s in (step, -step)
            )
            # Central difference over 2 um: rounding of the energies over the step leaves 1e-7.
            assert found.force[body, k] == pytest.approx(
                (behind - ahead) / 2e-6, abs=3e-6 * largest
            )


def test_without_the_option_or_a_recoil_permeability_magnets_stay_rigid() -> None:
    rigid = [*stage()[:2], stage()[2]]
    where = Pose(np.array([(0, 0, 0), (0.035, 0, 0.01), (0, 0, 0.022)]), np.array([STILL] * 3))
    plain = MagneticModel(rigid, 50).evaluate(where)
    bare = [magnet(Box((0.04, 0.03, 0.02)), None), magnet(Cylinder(0.02, 0.01), 1.0), stage()[2]]
    same = MagneticModel(bare, 50, recoil=True)
    assert same.recoiling == ()
    assert same.evaluate(where).force.tobytes() == plain.force.tobytes()
