"""Field of magnets and magnetised parts at any point, against closed forms and a library."""

import magpylib
import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.magnetics.couple import couple_on
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.total_field import TotalField
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Ring, Sphere
from snapsim.parts.states import Pose

GRADE = Material("grade", 7500.0, remanence=1.3)
TURN = rotations.from_rotation_vector([0.3, -0.5, 0.2])


def field(bodies, places, detail=200, background=(0.0, 0.0, 0.0), without=None):
    pose = Pose(np.array([p for p, _ in places], float), np.array([q for _, q in places]))
    model = MagneticModel(bodies, detail, 1e-10, background=background)
    state = model.evaluate(pose)
    return TotalField(bodies, model, pose, state, without), model, pose, state


def soft(shape, chi, saturation=None):
    curve = MagnetisationCurve(chi, saturation)
    return Body("part", shape, Material("iron", 7200.0, curve=curve), None, False)


def magnet(shape, direction):
    return Body("magnet", shape, GRADE, np.array(direction, float), True)


def test_b_of_a_turned_magnet_inside_and_out_is_the_librarys():
    """magpylib 6, `getB` of a cuboid with the same polarisation; both closed forms, so rounding."""
    body, at = magnet(Box((0.06, 0.04, 0.02)), (0, 0, 1)), np.array([0.01, 0.02, -0.03])
    mine, *_ = field([body], [(at, TURN)])
    rng = np.random.default_rng(3)
    points = at + 0.03 * rng.uniform(-1, 1, (200, 3))
    from scipy.spatial.transform import Rotation

    other = magpylib.magnet.Cuboid(
        dimension=(0.06, 0.04, 0.02),
        polarization=(0, 0, 1.3),
        position=at,
        orientation=Rotation.from_quat(TURN, scalar_first=True),
    )
    assert mine.b(points) == pytest.approx(other.getB(points), abs=1e-9)
    assert mine.holds(0, points).any()
    assert not mine.holds(0, points).all()


def test_field_in_a_permeable_sphere_is_three_over_chi_plus_three():
    """H inside = 3 H0/(chi + 3), uniform; outside a dipole of moment 4 pi R^3 chi/(chi+3) H0
    (Jackson, Classical Electrodynamics, 3rd ed., section 5.11; from memory). 1 %: 200 cells leave
    the sphere's polarisability off by that (`test_polarizabilities`)."""
    chi, radius, h0 = 20.0, 0.03, np.array([0.0, 0.0, 5e4])
    mine, *_ = field([soft(Sphere(2 * radius), chi)], [(np.zeros(3), TURN)], 600, h0)
    inside = mine.h([[0.001, 0.002, -0.001]])[0]
    assert inside == pytest.approx(3 * h0 / (chi + 3), abs=0.01 * h0[2])
    moment = 4 * np.pi * radius**3 * chi / (chi + 3) * h0
    for x in np.array([[0.09, 0, 0], [0, 0, 0.12], [0.05, 0.05, 0.05]]):
        r = np.linalg.norm(x)
        dipole = (3 * x * (moment @ x) / r**2 - moment) / (4 * np.pi * r**3)
        assert mine.h(x[None])[0] - h0 == pytest.approx(dipole, abs=0.01 * np.linalg.norm(dipole))


def test_no_flux_leaves_any_box_through_iron_and_magnet_surfaces():
    """div B = 0 (Maxwell). 2e-3: the midpoint rule on 60 x 60 points of a face that the field's
    edge singularities cross; with the part's M left out it is off by a fifth."""
    bodies = [magnet(Box((0.12, 0.08, 0.04)), (0, 0, -1)), soft(Ring(0.11, 0.026, 0.018), 300, 1.6)]
    places = [((0, 0, 0.02), rotations.IDENTITY), ((0.01, 0, -0.03), TURN)]
    mine, *_ = field(bodies, places)
    for centre, half in (((0.045, 0.01, -0.03), 0.008), ((0.02, 0, -0.004), 0.012)):
        n = 60
        u, v = np.meshgrid(*[(np.arange(n) + 0.5) / n * 2 - 1] * 2)
        net, gross = 0.0, 0.0
        for axis in range(3):
            for sign in (-1.0, 1.0):
                points = np.empty((n * n, 3))
                points[:, axis] = sign
                points[:, axis - 2], points[:, axis - 1] = u.ravel(), v.ravel()
                through = sign * mine.b(np.array(centre) + half * points)[:, axis]
                net, gross = net + through.sum(), gross + np.abs(through).sum()
        assert abs(net) < 2e-3 * gross


def test_couple_is_the_whole_torque_in_a_uniform_field():
    """Without a gradient nothing but M x h turns a body (Jackson, 3rd ed., section 5.7; from
    memory): the model's torque, found as an energy's gradient, is the couple. To rounding: both are
    sums over the same cells."""
    h0 = np.array([3e4, 0.0, 5e4])
    body = soft(Box((0.05, 0.02, 0.01)), 50.0, 1.6)
    _, model, pose, state = field([body], [(np.zeros(3), TURN)], 200, h0)
    couple = couple_on(0, [body], model, pose, state)
    assert np.linalg.norm(couple) > 1e-2
    assert couple == pytest.approx(state.torque[0], rel=1e-9, abs=1e-9)


def test_couple_on_a_small_magnet_is_its_moment_across_the_field():
    """T = m x B of a dipole (Jackson, 3rd ed., eq. 5.71; from memory); 1e-3: at 30 times its size
    the field of the big magnet is uniform over the small one to that."""
    big, small = magnet(Box((0.1, 0.1, 0.1)), (0, 0, 1)), magnet(Box((0.01, 0.01, 0.01)), (1, 0, 0))
    places = [(np.zeros(3), rotations.IDENTITY), ((0.0, 0.0, 0.4), TURN)]
    _, model, pose, state = field([big, small], places)
    outside, *_ = field([big], places[:1])
    moment = 1.3 / MU_0 * 1e-6 * rotations.rotate(TURN, [1.0, 0, 0])
    expected = np.cross(moment, outside.b([[0, 0, 0.4]])[0])
    found = couple_on(1, [big, small], model, pose, state)
    assert found == pytest.approx(expected, abs=1e-3 * np.linalg.norm(expected))


def test_a_magnet_ball_that_yields_has_its_own_demagnetising_field():
    """H = -M/3 inside, B = 2/3 mu_0 M, M = M_0/(1 + chi/3) (Osborn, Phys. Rev. 67, 351 (1945), for
    N = 1/3); outside on the axis B = 2/3 mu_0 M (R/r)^3. 1 %: 200 cells, and points between faces.
    """
    chi, radius = 1.5, 0.02
    grade = Material("grade", 7500.0, remanence=1.3, recoil_permeability=1 + chi)
    body = Body("magnet", Sphere(2 * radius), grade, np.array([0.0, 0.0, 1.0]), True)
    pose = Pose(np.array([[0.01, 0, 0]]), TURN[None])
    model = MagneticModel([body], 200, 1e-10, recoil=True)
    mine = TotalField([body], model, pose, model.evaluate(pose))
    axis = rotations.rotate(TURN, np.array([0.0, 0.0, 1.0]))
    points = np.array([0.01, 0, 0]) + np.array([[0.0], [2 * radius]]) * axis
    inside = 1.3 / (1 + chi / 3)
    assert mine.b(points)[0] == pytest.approx(2 / 3 * inside * axis, abs=0.01 * inside)
    assert mine.b(points)[1] == pytest.approx(inside / 12 * axis, abs=0.01 * inside / 12)
