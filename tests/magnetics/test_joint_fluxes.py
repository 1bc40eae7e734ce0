"""Several parts without charges on inner faces: right across a gap, and one energy throughout."""

import itertools

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.total_field import TotalField
from snapsim.numerics import rotations
from snapsim.numerics.rotation_kernels import matrices
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, Ring, Shape, Sphere
from snapsim.parts.states import Pose

GRADE = Material("test magnet", 7500.0, remanence=1.34)
MAGNET = Body("magnet", Cylinder(0.2, 0.05), GRADE, np.array([0.0, 0.0, 1.0]), True)
RING = Ring(0.11, 0.026, 0.018)
PLATE = Box((0.04, 0.03, 0.006))
UPRIGHT, BLOCK = Box((0.016, 0.08, 0.08)), Box((0.2, 0.2, 0.05))


def parts(*shapes: Shape, chi: float = 400.0, saturation: float | None = 1.6) -> list[Body]:
    iron = Material("test iron", 7200.0, MagnetisationCurve(chi, saturation))
    return [MAGNET, *(Body(f"part{k}", one, iron, None, False) for k, one in enumerate(shapes))]


def stacked(gap: float, turn: float = 0.0) -> Pose:
    """Two rings below the magnet, the upper one 20 mm off, the lower turned by so much."""
    place = np.array([[0, 0, 0.025], [0, 0, -0.029], [0, 0, -0.047 - gap]])
    quaternion = np.tile(rotations.IDENTITY, (3, 1))
    quaternion[2] = [np.cos(turn / 2), 0.0, np.sin(turn / 2), 0.0]
    return Pose(place, quaternion)


def side_by_side(gap: float) -> tuple[list[Body], Pose]:
    """Two plates on edge, 5 mm off the pole of a wide block."""
    block = Body("magnet", BLOCK, GRADE, np.array([0.0, 0.0, 1.0]), True)
    aside = UPRIGHT.extents[0] + gap / 2
    place = np.array([[0, 0, 0.025], [-aside, 0, -0.045], [aside, 0, -0.045]])
    pose = Pose(place, np.tile(rotations.IDENTITY, (3, 1)))
    return [block, *parts(UPRIGHT, UPRIGHT)[1:]], pose


@pytest.mark.parametrize(
    ("gap", "true"), [(3e-3, (78.378, 229.246)), (3e-4, (-11.033, 342.238))], ids=["3", "0.3"]
)
def test_two_rings_are_pulled_as_finite_elements_say(gap: float, true: tuple[float, float]) -> None:
    # axisymmetric finite elements of order 5 (their own error 0.1 N); constant cells of as many
    # were 3.4 per cent of the larger force off at 0.3 mm, 160 cells 5.4
    model = MagneticModel(parts(RING, RING), "normal")
    found = model.evaluate(stacked(gap)).force[1:, 2]
    assert np.abs(found - true).max() < 0.01 * max(true)


def test_two_plates_side_by_side_push_each_other_apart_as_finer_cells_say() -> None:
    # 5 mm off the pole, 0.3 mm between: equal cells of 0.5 mm with exact tensors; constant cells of
    # as many were 3.0 per cent off
    bodies, pose = side_by_side(3e-4)
    found = MagneticModel(bodies, "draft").evaluate(pose).force
    true = np.array([205.160, 0.0, 173.462])
    assert np.linalg.norm(found[2] - true) < 0.01 * np.linalg.norm(true)


def round_a_box(middle: Array, half: Array, n: int) -> tuple[Array, Array]:
    """Gauss points (6 n n, 3) and outward elements of area (6 n n, 3) on a box."""
    x, w = np.polynomial.legendre.leggauss(n)
    u, v, area = (*(g.ravel() for g in np.meshgrid(x, x)), np.outer(w, w).ravel())
    points, elements = [], []
    for axis, side in itertools.product(range(3), (-1.0, 1.0)):
        a, b = (k for k in range(3) if k != axis)
        point, element = np.zeros((n * n, 3)), np.zeros((n * n, 3))
        point[:, axis], point[:, a], point[:, b] = side, u, v
        element[:, axis] = side * area * half[a] * half[b]
        points.append(middle + half * point)
        elements.append(element)
    return np.concatenate(points), np.concatenate(elements)


def test_the_torque_between_parts_is_that_of_the_stress_round_one() -> None:
    """Maxwell's stress of the field in the air on a box midway in the gap, which knows nothing of
    pairs of faces and no slope of an energy (10 %: the cells' charges are uneven 1.5 mm off; 3 % at
    normal). The magnet alone gives +1.08 N m, as cells of 0.5 mm with exact tensors do: a table
    that has this as the whole torque leaves out what the other plate does, -2.0 N m."""
    bodies, pose = side_by_side(3e-3)
    model = MagneticModel(bodies, "draft", tolerance=1e-9)
    state = model.evaluate(pose)
    points, area = round_a_box(pose.position[1], UPRIGHT.extents + 0.0015, 20)
    h = TotalField(bodies, model, pose, state).h(points)
    stress = MU_0 * (
        h * np.sum(h * area, axis=1)[:, None] - 0.5 * np.sum(h**2, axis=1)[:, None] * area
    )
    torque = np.cross(points - pose.position[1], stress).sum(axis=0)
    assert stress.sum(axis=0)[[0, 2]] == pytest.approx(state.force[1, [0, 2]], rel=0.04)
    assert torque[1] == pytest.approx(state.torque[1, 1], rel=0.12)
    assert state.torque[1, 1] < -0.9
    by_magnet, by_plate = model.loads_between(pose, state)[1, [0, 2], 4]
    assert by_magnet == pytest.approx(1.0816, rel=0.01)
    assert by_plate == pytest.approx(state.torque[1, 1] - by_magnet)


@pytest.mark.parametrize("turn", [0.0, 0.004])
def test_nothing_pulls_itself(turn: float) -> None:
    model = MagneticModel(parts(RING, RING), "draft")
    pose = stacked(5e-4, turn)
    state = model.evaluate(pose)
    size = np.abs(state.force).max()
    assert np.abs(state.force.sum(axis=0)).max() < 1e-10 * size
    about = state.torque + np.cross(pose.position, state.force)
    assert np.abs(about.sum(axis=0)).max() < 1e-10 * size * 0.1


def test_work_round_a_closed_loop_is_nothing() -> None:
    # the lower ring goes round through a gap of 0.1 mm: Simpson's rule on force and torque
    model = MagneticModel(parts(PLATE, PLATE), "draft", tolerance=1e-10)
    angles, work, gone, state = np.linspace(0, 2 * np.pi, 97), [], 0.0, None
    for a in angles:
        place = np.array([[0, 0, 0.025], [0, 0, -0.02], [0, 0, -0.02]])
        place[2] += [1e-3 * np.sin(a), 0.0, -0.006 - 1e-4 - 1e-3 * (1 - np.cos(a))]
        pose = Pose(place, np.tile(rotations.IDENTITY, (3, 1)))
        state = model.evaluate(pose, state)
        along = 1e-3 * np.array([np.cos(a), 0.0, -np.sin(a)])
        work.append(float(state.force[2] @ along))
    step = angles[1]
    total = (
        step / 3 * sum(w * (1 if k in (0, 96) else 4 if k % 2 else 2) for k, w in enumerate(work))
    )
    gone = step * float(np.abs(work).sum())
    assert abs(total) < 1e-6 * gone


def test_force_and_torque_are_slopes_of_the_energy() -> None:
    model = MagneticModel(parts(RING, RING), "draft", tolerance=1e-11)
    state = model.evaluate(stacked(5e-4, 0.003))
    step = 2e-6
    up, down = (model.evaluate(stacked(5e-4 + s, 0.003), state).energy for s in (-step, step))
    assert (down - up) / (2 * step) == pytest.approx(state.force[2, 2], rel=1e-6)
    step = 2e-5
    more, less = (model.evaluate(stacked(5e-4, 0.003 + s), state).energy for s in (step, -step))
    assert (less - more) / (2 * step) == pytest.approx(state.torque[2, 1], rel=1e-4)


@pytest.mark.parametrize("shapes", [(RING, RING), (RING,), (Sphere(0.05), RING)])
def test_what_bodies_do_to_each_other_adds_up(shapes: tuple[Shape, ...]) -> None:
    model = MagneticModel(parts(*shapes), "draft")
    place = np.array([[0, 0, 0.025], [0, 0.01, -0.04], [0, 0, -0.09]])[: 1 + len(shapes)]
    pose = Pose(place, np.tile(rotations.IDENTITY, (len(place), 1)))
    state = model.evaluate(pose)
    each = model.loads_between(pose, state).sum(axis=1)
    np.testing.assert_allclose(each[:, :3], state.force, atol=1e-9 * np.abs(state.force).max())
    np.testing.assert_allclose(each[:, 3:], state.torque, atol=1e-9 * np.abs(state.force).max())
    pulls = model.pulls_between(pose, state)
    assert len(pulls) == len(shapes) - 1
    if pulls:
        np.testing.assert_allclose(pulls[1, 2], model.loads_between(pose, state)[1, 2, :3])


@pytest.mark.parametrize("gap", [1e-6, 0.0])
def test_touching_parts_of_any_iron_have_a_least_energy(gap: float) -> None:
    # without the film on faces energies of -1e20 J and worse: charges that cancel across a closed
    # gap only to what the rules err by, and iron of chi 30 000 does not hold them down
    model = MagneticModel(parts(RING, RING, chi=30000.0, saturation=2.0), "draft")
    near, state = model.evaluate(stacked(1e-5)), model.evaluate(stacked(gap))
    assert state.converged
    assert state.energy == pytest.approx(near.energy, rel=1e-3)


def test_parts_that_go_over_to_nodes_keep_one_energy() -> None:
    # between these distances a pair is a mean of faces and nodes (`distant_charges`); no magnet, so
    # that nothing but the pair pulls
    plates = parts(PLATE, PLATE)[1:]
    model = MagneticModel(plates, "draft", tolerance=1e-12, background=(0.0, 0.0, 2e5))

    def beside(apart: float) -> Pose:
        place = np.array([[0, 0, 0], [apart, 0, 0.0]])
        return Pose(place, np.tile(rotations.IDENTITY, (2, 1)))

    reach, step = 2 * float(np.linalg.norm(PLATE.extents)), 2e-4
    for apart in (1.7 * reach, 1.9 * reach, 2.2 * reach):
        state = model.evaluate(beside(apart))
        up, down = (model.evaluate(beside(apart + s), state).energy for s in (step, -step))
        assert (down - up) / (2 * step) == pytest.approx(state.force[1, 0], rel=1e-3)


def test_charges_on_inner_faces_go_over_to_nodes_with_one_energy() -> None:
    # plates face to face, the larger tilted, in the middle of that passage; saturated, so that
    # there are such charges. Differences err by 2e-5; without the slope of the weight the force of
    # equal plates is 3e-4 off, the torque 1e-4
    plates = parts(PLATE, Box((0.05, 0.03, 0.006)), saturation=0.8)[1:]
    model = MagneticModel(plates, 400, tolerance=1e-12, background=(0.0, 0.0, 8e5))

    def above(apart: float, turn: float) -> Pose:
        quaternion = np.tile(rotations.IDENTITY, (2, 1))
        quaternion[1] = [np.cos(turn / 2), 0.0, np.sin(turn / 2), 0.0]
        return Pose(np.array([[0, 0, 0], [0.004, 0, apart]]), quaternion)

    apart, turn = 0.056, 0.3
    pose = above(apart, turn)
    layers = model._layers(pose.position, matrices(pose.quaternion))[0]
    assert 0.2 < layers[0, 1].inner_first.share < 0.8
    assert layers[0, 1].both.share == 0.0
    state, step = model.evaluate(pose), 1e-4
    up, down = (model.evaluate(above(apart + s, turn), state).energy for s in (step, -step))
    assert (down - up) / (2 * step) == pytest.approx(state.force[1, 2], rel=4e-5)
    step = 1e-3
    more, less = (model.evaluate(above(apart, turn + s), state).energy for s in (step, -step))
    assert (less - more) / (2 * step) == pytest.approx(state.torque[1, 1], rel=4e-5)
