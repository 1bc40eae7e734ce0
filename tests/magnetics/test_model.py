"""Energy, force and torque of bodies in a pose, against closed forms and conservation laws."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.model import (
    MagneticModel,
    MagneticState,
    mean_polarisation,
    peak_polarisation,
)
from snapsim.magnetics.warm_start import Solution
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, Ring, Shape, Sphere
from snapsim.parts.states import Pose

UP = np.array([0.0, 0.0, 1.0])
STILL = np.array([1.0, 0.0, 0.0, 0.0])
IRON = MagnetisationCurve(1000.0, 1.7e6 * MU_0)


def magnet(shape: Shape, polarisation: float, direction: Array = UP) -> Body:
    return Body("magnet", shape, Material("grade", 7500.0, remanence=polarisation), direction, True)


def soft(shape: Shape, curve: MagnetisationCurve) -> Body:
    return Body("part", shape, Material("iron", 7200.0, curve=curve), None, False)


def pose(*places: tuple[Array | tuple[float, float, float], Array]) -> Pose:
    return Pose(np.array([p for p, _ in places], float), np.array([q for _, q in places]))


def turned(*vector: float) -> Array:
    return rotations.from_rotation_vector(vector)


# Vokoun et al., J. Magn. Magn. Mater. 321, 3758 (2009), closed form for coaxial cylinders.
@pytest.mark.parametrize(
    ("diameter", "length", "polarisation", "gap", "expected"),
    [(0.02, 0.01, 1.3, 0.005, 43.07355), (0.01, 0.01, 1.3, 0.02, 0.5071986)],
)
def test_coaxial_cylinder_magnets_attract_as_published(
    diameter: float, length: float, polarisation: float, gap: float, expected: float
) -> None:
    body = magnet(Cylinder(diameter, length), polarisation)
    found = MagneticModel([body, body]).evaluate(
        pose(((0, 0, 0), STILL), ((0, 0, length + gap), turned(0, 0, 0.7)))
    )
    # Seven printed digits; the quadrature errs by about 1e-6 at gaps of a quarter diameter.
    assert found.force[1] == pytest.approx([0, 0, -expected], rel=5e-6, abs=5e-6 * expected)
    assert found.force[0] == pytest.approx(-found.force[1], abs=1e-12 * expected)


# Akoun & Yonnet, IEEE Trans. Magn. 20, 1962 (1984): their pair of cuboids, closed form.
@pytest.mark.parametrize(
    ("offset", "expected"),
    [
        (-10.0, (1.10758553, 0.32264444, -0.64480858)),
        (0.0, (0.0, 0.63758044, -1.85337278)),
        (15.0, (-0.74400920, 0.08901559, 0.30547068)),
    ],
)
def test_cuboid_magnets_push_as_published(
    offset: float, expected: tuple[float, float, float]
) -> None:
    bodies = [magnet(Box((0.02, 0.012, 0.006)), 0.38), magnet(Box((0.012, 0.02, 0.006)), 0.38)]
    where = (offset * 1e-3, -4e-3, 8e-3)
    found = MagneticModel(bodies).evaluate(pose(((0, 0, 0), STILL), (where, STILL)))
    # The gap is 2 mm of 20 mm: the quadrature of the pair errs by up to 1e-3 of the whole there.
    assert found.force[1] == pytest.approx(expected, abs=1e-3 * 1.9)


# A sphere in a uniform field is an ellipsoid: M exact for any curve (Stoner 1945), see the table
# of `test_magnetization`; here on cells that follow its surface.
def test_sphere_of_cells_has_the_exact_mean_magnetisation() -> None:
    for applied, magnetisation in ((1e5, 298911.952), (6e5, 1645631.8), (3e6, 1698813.35)):
        background = (0.0, 0.6 * applied, 0.8 * applied)
        model = MagneticModel([soft(Sphere(0.02), IRON)], 200, 1e-9, background)
        found = model.evaluate(pose(((0, 0, 0), turned(0.3, 0.2, -0.5))))
        mean = mean_polarisation(found.magnetisation[0], model.cells[0])
        # 160 cells give a ball's linear moment within 0.05 %, measured; the knee adds as much.
        assert np.linalg.norm(mean) == pytest.approx(MU_0 * magnetisation, rel=1e-3)
        assert peak_polarisation(found.magnetisation[0]) >= np.linalg.norm(mean) * (1 - 1e-12)
        assert found.force[0] == pytest.approx(np.zeros(3), abs=1e-30)


# Permeable sphere, radius 10 mm, mu_r = 1000, and a dipole of 100 A m^2: multipole series
# F = -(mu0 m^2/4 pi) sum al_l (l+1)^2 (l+2) a^(2l+1)/d^(2l+5), al_l = l(mu-1)/(l(mu+1)+1), axial;
# l(l+1)/2 for (l+1)^2, transverse (Jackson's method of multipoles; summed to 1e-12).
@pytest.mark.parametrize(
    ("distance", "axis", "expected", "tolerance"),
    [
        (0.1, (0, 0, 1), 0.123313068, 5e-3),
        (0.1, (1, 0, 0), 0.0311377235, 5e-3),
        (0.05, (0, 0, 1), 17.3292079, 1e-2),
        (0.05, (1, 0, 0), 4.50793696, 1e-2),
    ],
)
def test_dipole_pulls_a_permeable_sphere_as_the_series_says(
    distance: float, axis: tuple[int, int, int], expected: float, tolerance: float
) -> None:
    # A uniformly magnetised ball is a dipole outside itself, exactly.
    radius = 0.015
    polarisation = MU_0 * 100 / (4 / 3 * np.pi * radius**3)
    bodies = [
        magnet(Sphere(2 * radius), polarisation, np.array(axis, float)),
        soft(Sphere(0.02), MagnetisationCurve(999.0)),
    ]
    model = MagneticModel(bodies, 200, 1e-9)
    found = model.evaluate(pose(((0, 0, 0), STILL), ((0, 0, distance), STILL)))
    # 160 cells: axial error 0.2 % and 0.8 % at the two distances; 0.09 % and 0.35 % on 648.
    assert found.force[1] == pytest.approx([0, 0, -expected], rel=tolerance, abs=1e-9 * expected)


# Two equal spheres, mu_r = 1000, in a uniform field, centres two diameters apart: multipole
# translation (Jones, Electromechanics of Particles, 1995, ch. 6); force over mu0 H0^2 a^2.
@pytest.mark.parametrize(
    ("field", "expected"), [((0, 0, 1e4), -0.3162645), ((1e4, 0, 0), 0.1406468)]
)
def test_two_soft_spheres_attract_or_repel_as_published(
    field: tuple[float, float, float], expected: float
) -> None:
    ball = soft(Sphere(0.02), MagnetisationCurve(999.0))
    model = MagneticModel([ball, ball], "draft", 1e-10, field)
    found = model.evaluate(pose(((0, 0, 0), STILL), ((0, 0, 0.04), turned(0, 0.4, 0.1))))
    unit = MU_0 * 1e8 * 0.01**2
    # Cells and point kernel at a distance of ten cell sizes: 1 %.
    assert found.force[1] == pytest.approx([0, 0, expected * unit], rel=1e-2, abs=1e-3 * unit)
    assert found.converged


def stage() -> list[Body]:
    """Two magnets and two soft parts."""
    return [
        magnet(Box((0.06, 0.05, 0.02)), 1.3, -UP),
        soft(Ring(0.04, 0.012, 0.01), IRON),
        magnet(Cylinder(0.02, 0.02), 1.2),
        soft(Box((0.02, 0.015, 0.01)), MagnetisationCurve(300.0, 1.6)),
    ]


def staged() -> Pose:
    return pose(
        ((0.0, 0.0, 0.01), STILL),
        ((0.01, 0.003, -0.03), turned(0.2, 0.5, 0.1)),
        ((0.05, 0.01, -0.03), turned(-0.4, 0.3, 0.0)),
        ((-0.03, 0.02, -0.025), turned(0.1, -0.2, 0.9)),
    )


def test_forces_and_angular_momentum_balance_to_rounding() -> None:
    # Newton's third law in both forms; no tolerance of the solve enters.
    where = staged()
    found = MagneticModel(stage(), 60).evaluate(where)
    largest = np.abs(found.force).max()
    assert np.abs(found.force.sum(axis=0)).max() < 1e-13 * largest
    total = found.torque.sum(axis=0) + np.cross(where.position, found.force).sum(axis=0)
    assert np.abs(total).max() < 1e-13 * np.abs(found.torque).max()


def moved(where: Pose, body: int, shift: Array, turn: Array) -> Pose:
    position, quaternion = where.position.copy(), where.quaternion.copy()
    position[body] += shift
    quaternion[body] = rotations.multiply(rotations.from_rotation_vector(turn), quaternion[body])
    return Pose(position, quaternion)


@pytest.mark.parametrize("body", [0, 1, 2, 3])
def test_force_and_torque_are_the_gradient_of_the_energy(body: int) -> None:
    model, where = MagneticModel(stage(), 60, 1e-13, (2e3, -1e3, 3e3)), staged()
    found = model.evaluate(where)
    # Central difference over 2 um and 40 urad: curvature leaves about 1e-8, rounding 1e-7.
    for k in range(3):
        for step, of in ((1e-6, found.force), (2e-5, found.torque)):
            along = step * np.eye(3)[k]
            shift, turn = (along, 0 * along) if of is found.force else (0 * along, along)
            ahead = model.evaluate(moved(where, body, shift, turn), found).energy
            behind = model.evaluate(moved(where, body, -shift, -turn), found).energy
            largest = float(np.abs(of).max())
            assert of[body, k] == pytest.approx((behind - ahead) / (2 * step), abs=2e-6 * largest)


def ring_and_block() -> list[Body]:
    return [magnet(Box((0.12, 0.08, 0.04)), 1.3, -UP), soft(Ring(0.11, 0.026, 0.018), IRON)]


def ring_under_a_block(detail: str | int, tolerance: float) -> MagneticModel:
    return MagneticModel(ring_and_block(), detail, tolerance)


def along_path(s: float) -> tuple[Pose, Array, Array]:
    """Pose at s in 0..1 on a way up that tilts, slides and ends 1 mm below the block; its rates."""
    shift = np.array([0.03 * (1 - s) ** 2, 0.01 * (1 - s), -0.010 - 0.06 * (1 - s)])
    rate = np.array([-0.06 * (1 - s), -0.01, 0.06])
    angle = np.array([0.0, 0.8 * (1 - s), 0.0])
    spin = np.array([0.0, -0.8, 0.0])
    where = pose(((0, 0, 0.02), STILL), (shift, rotations.from_rotation_vector(angle)))
    return where, rate, spin


@pytest.mark.parametrize("tolerance", [1e-7, 1e-10])
def test_work_equals_energy_lost_on_the_way_to_a_gap_of_a_millimetre(tolerance: float) -> None:
    # First law for the discrete system; 48-point Gauss-Legendre over s. The default tolerance of
    # 1e-5 leaves 1.2e-5 here, as each pose starts from the one before.
    model = ring_under_a_block(120, tolerance)
    nodes, weights = np.polynomial.legendre.leggauss(48)
    state: MagneticState | None = None
    work = 0.0
    for u, w in zip(nodes, weights, strict=True):
        where, rate, spin = along_path((1 + u) / 2)
        state = model.evaluate(where, state)
        assert state.converged
        work += w / 2 * (state.force[1] @ rate + state.torque[1] @ spin)
    first, last = (model.evaluate(along_path(s)[0]).energy for s in (0.0, 1.0))
    assert work == pytest.approx(first - last, rel=1e-5)


def test_closed_loop_does_no_net_work() -> None:
    # Conservative field; 64 equal steps integrate a smooth periodic function to rounding.
    model = ring_under_a_block(120, 1e-7)
    net, gross, state = 0.0, 0.0, None
    count = 64
    for t in 2 * np.pi * np.arange(count) / count:
        shift = np.array([0.02 * np.cos(t), 0.01 * np.sin(t), -0.030 + 0.006 * np.sin(t)])
        rate = np.array([-0.02 * np.sin(t), 0.01 * np.cos(t), 0.006 * np.cos(t)])
        angle, spin = 0.25 * np.sin(t), 0.25 * np.cos(t)
        where = pose(((0, 0, 0.02), STILL), (shift, turned(0.0, angle, 0.0)))
        state = model.evaluate(where, state)
        power = state.force[1] @ rate + state.torque[1, 1] * spin
        net += power * 2 * np.pi / count
        gross += abs(power) * 2 * np.pi / count
    assert abs(net) < 1e-5 * gross


def test_default_tolerance_leaves_little_force_error() -> None:
    # The bound is on the energy; force errs by the root of it at worst, by far less in practice.
    rough, fine = ring_under_a_block(120, 1e-5), ring_under_a_block(120, 1e-10)
    worst, state = 0.0, None
    for s in np.linspace(0, 1, 25):
        where = along_path(float(s))[0]
        state = rough.evaluate(where, state)
        exact = fine.evaluate(where)
        error = np.linalg.norm(state.force[1] - exact.force[1]) / np.linalg.norm(exact.force[1])
        worst = max(worst, float(error))
    assert worst < 1e-3


def test_start_changes_the_cost_and_not_the_result() -> None:
    model = ring_under_a_block(120, 1e-9)
    state: MagneticState | None = None
    for s in (0.89, 0.90, 0.91):
        state = model.evaluate(along_path(s)[0], state)
    assert state is not None
    where = along_path(0.92)[0]
    cold, warm = model.evaluate(where), model.evaluate(where, state)
    short = model.evaluate(where, replace(state, solutions=state.solutions[:1]))
    assert warm.products < short.products < cold.products
    assert warm.energy == pytest.approx(cold.energy, rel=2e-9)
    assert model.evaluate(where, state).force.tobytes() == warm.force.tobytes()


def test_a_start_that_does_not_fit_is_left_aside() -> None:
    model = ring_under_a_block(120, 1e-7)
    where = along_path(0.5)[0]
    good = model.evaluate(where)
    misfits = (np.full((3, 3), 1.0), np.full_like(good.solutions[0].h, np.nan))
    for known in ((), *((Solution(f, f, f),) for f in misfits)):
        found = model.evaluate(where, replace(good, solutions=known))
        assert found.converged
        assert found.energy == pytest.approx(good.energy, rel=1e-6)


def test_many_poses_at_once_give_what_each_gives_alone() -> None:
    model = ring_under_a_block(120, 1e-9)
    poses = [along_path(float(s))[0] for s in np.linspace(0.6, 1, 25)]
    many = model.evaluate_many(poses)
    for k, where in enumerate(poses):
        alone = model.evaluate(where)
        assert many.energy[k] == pytest.approx(alone.energy, rel=2e-9)
        largest = np.abs(alone.force).max()
        # Force errs by the root of the energy's error at worst; 3e-5 is that root at 1e-9.
        assert many.force[k] == pytest.approx(alone.force, abs=3e-5 * largest)
    assert many.converged.all()
    assert many.last is not None
    assert many.last.force.tobytes() == many.force[-1].tobytes()
    cold = sum(model.evaluate(where).products for where in poses)
    assert many.products.sum() < 0.6 * cold
    assert model.evaluate_many([]).force.shape == (0, 2, 3)


def test_bodies_without_magnetics_feel_nothing() -> None:
    table = Body("table", Box((0.5, 0.5, 0.02)), Material("oak", 700.0), None, True)
    model = MagneticModel([table, *ring_and_block()], 60)
    found = model.evaluate(
        pose(((0, 0, -0.2), STILL), ((0, 0, 0.02), STILL), ((0, 0, -0.04), STILL))
    )
    assert model.soft == (2,)
    assert model.magnets == (1,)
    assert not found.force[0].any()
    assert found.force[2, 2] > 0
    assert MagneticModel([table]).evaluate(pose(((0, 0, 0), STILL))).energy == 0.0
