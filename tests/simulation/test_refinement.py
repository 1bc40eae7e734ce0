"""The error bar of two meshes covers the true error where the answer is known."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.landscape.force import force
from snapsim.magnetics.cells import extrapolation_order, refinement_pair
from snapsim.magnetics.model import MagneticModel, mean_polarisation
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Compound, Cylinder, Piece, Prism, Sphere
from snapsim.parts.states import Pose
from snapsim.simulation.refinement import (
    FEW,
    FLOOR,
    RATIO_FEW_CONTINUOUS,
    RATIO_FEW_SEAMS,
    SAFETY,
    SAFETY_COARSE,
    TwoMeshes,
    estimate_scalar,
    estimate_vectors,
    two_meshes,
)

CHI = 999.0


def test_an_error_that_falls_as_the_square_is_taken_off_whole():
    # q = 7 + 3 h^2 at h = 2 and 1 (Richardson, Phil. Trans. A 210, 307 (1911); from memory)
    found = estimate_scalar(19.0, 10.0, TwoMeshes({}, {}))
    assert float(found.value) == pytest.approx(7.0)
    assert float(found.error) == pytest.approx(1.5 * 3.0 + 7.0 * FLOOR)


def test_an_error_of_first_order_is_taken_off_whole_too():
    # q = 7 + 3 h
    found = estimate_scalar(13.0, 10.0, TwoMeshes({}, {}, order=1.0))
    assert float(found.value) == pytest.approx(7.0)


def test_the_part_of_the_lowest_order_sets_the_order(make_body, make_system, materials):
    ell = ((0, 0), (0.04, 0), (0.04, 0.01), (0.01, 0.01), (0.01, 0.04), (0, 0.04))
    parts = [
        make_body("angle", Prism(ell, 0.02), materials["iron"](CHI)),
        make_body("ball", Sphere(0.01), materials["iron"](CHI)),
    ]
    rows = [(part, (0, 0, 0.1 * k)) for k, part in enumerate(parts)]
    meshes = two_meshes(make_system(rows, detail="draft"))
    alone = [extrapolation_order(part.shape, "draft") for part in parts]
    assert meshes.order == min(alone)
    assert set(meshes.coarse) == {0, 1}
    assert all(len(meshes.fine[i].volume) > 2 * len(meshes.coarse[i].volume) for i in (0, 1))


def test_a_vectors_bar_is_the_same_in_every_frame():
    coarse, fine = np.array([[1.0, 2.0, 3.0]]), np.array([[1.3, 2.0, 2.6]])
    turn = np.linalg.qr(np.arange(9.0).reshape(3, 3) ** 2 + np.eye(3))[0]
    here = estimate_vectors(coarse, fine, TwoMeshes({}, {}))
    there = estimate_vectors(coarse @ turn.T, fine @ turn.T, TwoMeshes({}, {}))
    np.testing.assert_allclose(there.value, here.value @ turn.T)
    np.testing.assert_allclose(there.error, here.error)


# <M>/H0 at chi = 999: cubes and prisms by an independent panel computation (3e-5), cylinders by an
# independent boundary-integral one (2e-7); ball 3 chi/(chi + 3) (Jackson, 3rd ed., section 5.11;
# from memory). The long cylinder at draft has one layer of coarse cells: the hardest case found.
@pytest.mark.parametrize("detail", ["draft", pytest.param("normal", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("shape", "axis", "published"),
    [
        (Box((1, 1, 1)), 2, 3.62907),
        (Box((1, 1, 0.2)), 2, 1.58304),
        (Box((1, 1, 5)), 2, 17.20483),
        (Cylinder(1, 1), 2, 1 / (0.259083 + 1 / CHI)),
        (Cylinder(1, 1), 0, 1 / (0.315463 + 1 / CHI)),
        (Cylinder(1, 0.1), 0, 1 / (0.085290 + 1 / CHI)),
        (Cylinder(1, 5), 2, 1 / (0.050677 + 1 / CHI)),
        (Cylinder(1, 5), 0, 1 / (0.443699 + 1 / CHI)),
        (Sphere(1), 2, 3 * CHI / (CHI + 3)),
    ],
)
def test_the_bar_covers_the_error_of_a_mean_magnetisation(
    make_body, make_system, materials, shape, axis, published, detail
):
    system = make_system(
        [(make_body("part", shape, materials["iron"](CHI)), (0, 0, 0))], detail=detail
    )
    meshes = two_meshes(system)
    field = np.eye(3)[axis] / MU_0
    found = []
    for cells in (meshes.coarse, meshes.fine):
        model = MagneticModel(system.bodies, detail, 1e-9, background=field, meshes=cells)
        (m,) = model.evaluate(system.start.pose).magnetisation
        found.append(mean_polarisation(m, cells[0])[axis])
    estimate = estimate_scalar(*found, meshes)
    assert abs(estimate.value - published) < estimate.error < 0.35 * published
    assert meshes.safety == (SAFETY if detail == "normal" else SAFETY_COARSE)


# Force on a permeable ball (mu_r = 1000, radius 10 mm) from a point dipole of 100 A m^2, exact
# multipole series -(mu0 m^2/4 pi) sum of al_l (l+1)^2 (l+2) a^(2l+1)/d^(2l+5), al_l = l(mu-1)/
# (l(mu+1)+1), axial; (l+1)^2 -> l(l+1)/2 across. A magnetised ball is a point dipole outside.
@pytest.mark.parametrize("detail", ["draft", "normal"])
@pytest.mark.parametrize(
    ("distance", "direction", "exact"),
    [(0.05, 2, -17.3292079), (0.05, 0, -4.50793696), (0.03, 2, -786.052473), (0.03, 0, -219.11381)],
)
def test_the_bar_covers_the_error_of_a_force(distance, direction, exact, detail):
    radius = 0.9 * (distance - 0.01)
    moment = 1.3 / MU_0 * 4 / 3 * np.pi * radius**3
    grade = Material("grade", 7500.0, remanence=1.3)
    iron = Material("iron", 7800.0, MagnetisationCurve(CHI))
    bodies = (
        Body("magnet", Sphere(2 * radius), grade, np.eye(3)[direction], True),
        Body("ball", Sphere(0.02), iron, None, False),
    )
    pose = Pose(np.array([[0, 0, 0], [0, 0, distance]]), np.tile([1.0, 0, 0, 0], (2, 1)))
    forces = []
    coarse, fine = refinement_pair(bodies[1].shape, detail)
    meshes = TwoMeshes({1: coarse}, {1: fine})
    for cells in (meshes.coarse, meshes.fine):
        model = MagneticModel(bodies, detail, 1e-9, meshes=cells)
        forces.append(model.evaluate(pose).force)
    estimate = estimate_vectors(*forces, meshes)
    expected = np.array([0, 0, exact * (moment / 100) ** 2])
    error = np.linalg.norm(estimate.value[1] - expected)
    assert error < estimate.error[1] < 0.25 * np.linalg.norm(expected)


@pytest.mark.parametrize(("member", "seams"), [(Box, False), (Cylinder, True)])
def test_members_whose_cells_do_not_match_widen_the_bar(
    member, seams, make_body, make_system, materials
):
    """A stem under a block: a block shares its grid of cells, a rod has cells of its own."""
    stem = member((0.01, 0.02, 0.05)) if member is Box else member(0.01, 0.05)
    shape = Compound((Piece(Box((0.06, 0.02, 0.01))), Piece(stem, np.array([0, 0, -0.03]))))
    part = make_body("part", shape, materials["iron"](CHI))
    meshes = two_meshes(make_system([(part, (0, 0, 0))], detail="draft"))
    assert meshes.seams == seams
    assert meshes.fewest < FEW
    assert meshes.ratios(clear=True) == (RATIO_FEW_SEAMS if seams else RATIO_FEW_CONTINUOUS)


def ball_under_a_magnet(make_body, make_system, materials, detail="draft"):
    magnet = make_body("magnet", Cylinder(0.04, 0.02), materials["magnet"], (0, 0, 1), True)
    ball = make_body("ball", Sphere(0.02), materials["iron"](300.0, 1.9))
    rows = [(magnet, (0, 0, 0.05)), (ball, (0.005, 0, 0.01))]
    return make_system(rows, detail=detail)


def test_force_reports_what_a_release_feels_and_bars_beside_it(make_body, make_system, materials):
    system = ball_under_a_magnet(make_body, make_system, materials)
    report = force(system, accuracy=True)
    found = report.accuracy
    assert found is not None
    assert (found.coarse_cells, found.cells) == ((0, 32), (0, 256))
    assert found.converged
    assert found.order == 2.0
    np.testing.assert_allclose(found.force.value[1], report.force[1], rtol=0.05, atol=1e-6)
    # opposite and equal, also extrapolated
    np.testing.assert_allclose(found.force.value[0], -found.force.value[1], rtol=1e-9, atol=1e-12)
    better = force(
        ball_under_a_magnet(make_body, make_system, materials, "normal"), accuracy=True
    ).accuracy
    assert better is not None
    assert better.force.error[1] < 0.5 * found.force.error[1]
    gap = np.linalg.norm(better.force.value[1] - found.force.value[1])
    assert gap < found.force.error[1]
    assert force(system).accuracy is None


def test_magnets_alone_have_no_cells_to_refine(make_body, make_system, materials):
    pair = [
        make_body(name, Box((0.02, 0.02, 0.02)), materials["magnet"], (0, 0, 1)) for name in "ab"
    ]
    report = force(make_system([(pair[0], (0, 0, 0)), (pair[1], (0, 0, 0.05))]), accuracy=True)
    assert report.accuracy is not None
    np.testing.assert_allclose(report.accuracy.force.value, report.force)
