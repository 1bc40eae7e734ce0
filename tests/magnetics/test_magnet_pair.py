"""Force between magnets against closed forms; the quadrature's own exactness."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.magnetics.magnet_pair import load_on_magnet, quadrature
from snapsim.magnetics.sources import field_of_magnets, magnet_set, source_for
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Shape, Sphere

STILL = np.array([[1.0, 0.0, 0.0, 0.0]])


def load(
    first: Shape, second: Shape, polarisation: float, offset: np.ndarray, order: int = 16
) -> tuple[np.ndarray, np.ndarray, float]:
    """Load on `second` at `offset` from `first`, both with J = polarisation along +z."""
    m = np.array([0.0, 0.0, polarisation / MU_0])
    arms, weights = quadrature(second, order)
    packed = magnet_set([source_for(first)], m)
    h, g = field_of_magnets(packed, np.zeros(3), STILL, arms + offset)
    return load_on_magnet(h, g, arms, weights, m)


@pytest.mark.parametrize(
    ("diameter", "length", "polarisation", "gap", "expected", "tolerance"),
    [
        (20, 10, 1.3, 1, 95.78429, 1e-4),
        (20, 10, 1.3, 5, 43.07355, 2e-6),
        (20, 10, 1.3, 20, 5.530419, 1e-6),
        (10, 10, 1.3, 1, 27.54439, 1e-5),
        (100, 50, 1.4, 1, 3515.601, 3e-4),
        (100, 50, 1.4, 50, 570.7751, 1e-6),
        (20, 10, 1.3, 0, 132.8941, 5e-3),
    ],
)
def test_attraction_of_coaxial_cylinders(
    diameter: float,
    length: float,
    polarisation: float,
    gap: float,
    expected: float,
    tolerance: float,
) -> None:
    """F = J^2/mu0 pi R^2 [G(x/R) - 2 G((x+L)/R) + G((x+2L)/R)], two equal cylinders (Vokoun et al.,
    J. Magn. Magn. Mater. 321, 3758 (2009)); values computed from it by two methods to seven
    digits. Tolerance: the measured error of the default quadrature with a margin of 1.8
    or more; gaps of 5 % and 1 % of the size are among them, and contact, where it is 3e-3.
    Millimetres, tesla, newton."""
    shape = Cylinder(diameter * 1e-3, length * 1e-3)
    force, torque, _ = load(shape, shape, polarisation, np.array([0, 0, (length + gap) * 1e-3]))
    assert -force[2] == pytest.approx(expected, rel=tolerance)
    assert np.abs(force[:2]).max() < 1e-9 * expected
    assert np.abs(torque).max() < 1e-9 * expected


@pytest.mark.parametrize(
    ("alpha", "expected"),
    [
        (-15, (0.74400920, 0.08901559, 0.30547068)),
        (-4, (0.58835582, 0.58835582, -1.77364039)),
        (0, (0.0, 0.63758044, -1.85337278)),
        (10, (-1.10758553, 0.32264444, -0.64480858)),
        (26, (0.04416630, -0.00728778, 0.11682750)),
    ],
)
def test_force_between_two_offset_cuboids(alpha: float, expected: tuple[float, ...]) -> None:
    """The example of Akoun & Yonnet, IEEE Trans. Magn. 20, 1962 (1984): 20x12x6 mm and 12x20x6 mm,
    J = 0.38 T, offset (alpha, -4, 8) mm; geometry from memory, forces computed by the closed form
    and by charged faces (1e-7). 24 points across: 1e-5 of the force measured at worst; at alpha =
    26 mm the components are small and the bound is taken of 1 N."""
    first, second = Box((0.02, 0.012, 0.006)), Box((0.012, 0.02, 0.006))
    force, _, _ = load(first, second, 0.38, np.array([alpha, -4, 8]) * 1e-3, order=24)
    assert np.abs(force - expected).max() < 3e-5


@pytest.mark.parametrize(
    ("size", "polarisation", "gap", "expected", "tolerance"),
    [
        ((10, 10, 10), 1.3, 1, 34.40791, 1e-6),
        ((50, 50, 25), 1.45, 1, 1055.362, 2e-4),
        ((50, 50, 25), 1.45, 10, 490.2529, 1e-6),
        ((100, 100, 50), 1.4, 100, 227.3439, 1e-6),
        ((10, 10, 10), 1.3, 1e-6, 54.71975, 1e-3),
    ],
)
def test_attraction_of_equal_blocks_face_to_face(
    size: tuple[float, float, float],
    polarisation: float,
    gap: float,
    expected: float,
    tolerance: float,
) -> None:
    """Closed form of Akoun & Yonnet (1984), computed to seven digits; tolerances as above."""
    shape = Box((size[0] * 1e-3, size[1] * 1e-3, size[2] * 1e-3))
    force, _, _ = load(shape, shape, polarisation, np.array([0, 0, (size[2] + gap) * 1e-3]))
    assert -force[2] == pytest.approx(expected, rel=tolerance)


def test_force_and_torque_are_the_derivatives_of_the_energy() -> None:
    """With fixed points F = -dE/dx exactly; central differences of E at 1e-5 m, whose own
    error at a 7 mm scale is about 1e-6: bound 1e-5."""
    first, second = Cylinder(0.03, 0.02), HexNut(0.02, 0.01, 0.01)
    offset = np.array([0.008, -0.004, 0.022])
    force, _, _ = load(first, second, 1.2, offset, order=8)
    for axis in range(3):
        step = 1e-5 * np.eye(3)[axis]
        up, down = (load(first, second, 1.2, offset + s * step, order=8)[2] for s in (1, -1))
        assert force[axis] == pytest.approx(-(up - down) / 2e-5, rel=1e-5, abs=1e-5)


def test_torque_on_a_small_ball_is_that_of_a_dipole() -> None:
    """T = m x B, F = grad(m.B) (Jackson, 3rd ed., eqs. (5.69), (5.71); from memory); a ball acts
    and is acted on as its centre's dipole in the field of another ball, exactly."""
    first, second = Sphere(0.02), Sphere(0.01)
    m1, m2 = np.array([0.0, 0.0, 1e6]), np.array([4e5, -3e5, 2e5])
    centre = np.array([0.01, 0.02, 0.025])
    arms, weights = quadrature(second, 20)
    source = source_for(first)
    h, g = source.field_and_gradient(arms + centre, m1)
    force, torque, energy = load_on_magnet(h, g, arms, weights, m2)
    h0, g0 = source.field_and_gradient(centre, m1)
    moment = MU_0 * second.volume * m2
    assert np.allclose(torque, np.cross(moment, h0[0]), rtol=1e-9, atol=1e-12)
    assert np.allclose(force, g0[0].T @ moment, rtol=1e-9)
    assert energy == pytest.approx(-moment @ h0[0], rel=1e-9)


@pytest.mark.parametrize(
    "shape",
    [
        Box((0.04, 0.02, 0.01)),
        Cylinder(0.02, 0.01),
        Ring(0.05, 0.048, 0.02),
        Sphere(0.03),
        HexNut(0.03, 0.016, 0.012),
    ],
    ids=lambda s: s.kind,
)
def test_quadrature_has_the_volume_and_second_moments_of_the_shape(shape: Shape) -> None:
    """Volume and gyration as the shape itself has them (polynomials: exact to rounding; the
    sectors of a hexagon are smooth, not polynomial: ten points a sector leave 1e-12)."""
    points, weights = quadrature(shape, 20)
    assert weights.sum() == pytest.approx(shape.volume, rel=1e-13)
    assert np.all(weights > 0)
    second = np.einsum("k,ki,kj->ij", weights, points, points) / shape.volume
    gyration = np.trace(second) * np.eye(3) - second
    assert np.allclose(gyration, shape.gyration, rtol=1e-10, atol=1e-12 * shape.gyration.max())
