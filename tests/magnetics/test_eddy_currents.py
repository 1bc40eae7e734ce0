"""Diffusion time, skin depth and losses against closed forms of textbooks."""

import numpy as np
import pytest
from scipy.integrate import quad_vec

from snapsim.constants import MU_0
from snapsim.magnetics.eddy_currents import (
    diffusion_time,
    loss_tensor,
    plate_thickness,
    skin_depth,
    skin_factor,
)
from snapsim.numerics import rotations

COPPER = 5.8e7


def test_skin_depth_of_copper_at_mains_frequency_is_nine_millimetres():
    # 9.3 mm at 50 Hz, 8.5 mm at 60 Hz (Jackson, 3rd ed., section 5.18; from memory)
    assert skin_depth(MU_0, COPPER, 2 * np.pi * 50) == pytest.approx(9.35e-3, rel=5e-3)
    assert skin_depth(MU_0, COPPER, 2 * np.pi * 60) == pytest.approx(8.53e-3, rel=5e-3)
    assert skin_depth(MU_0, COPPER, 0.0) == np.inf


def test_diffusion_time_is_that_of_the_slowest_mode_of_a_plate():
    # d^2B/dx^2 = mu sigma dB/dt, B = 0 on both faces: cos(pi x / d) exp(-t / tau); here as the
    # lowest eigenvalue of the second-order difference operator, whose error is (pi/n)^2/12
    n, d, mu, sigma = 200, 0.018, 150 * MU_0, 1e6
    step = d / n
    matrix = (2 * np.eye(n - 1) - np.eye(n - 1, k=1) - np.eye(n - 1, k=-1)) / step**2
    slowest = mu * sigma / np.linalg.eigvalsh(matrix)[0]
    assert diffusion_time(mu, sigma, d) == pytest.approx(slowest, rel=3e-5)


# K along the axis that the field changes along, from second moments of the shapes.
@pytest.mark.parametrize(
    ("moment", "axis", "expected"),
    [
        # lamination, d = 1: classical loss sigma d^2 B'^2 / 12 (Bozorth, Ferromagnetism, 1951, ch.
        # 17; from memory); wide enough to count as infinite
        ((1 / 12, 1e9, 1e9), 1, 1 / 12),
        # ball, a = 1: power sigma B'^2 a^2 / 10 by Landau & Lifshitz, Electrodynamics of
        # Continuous Media, section 59, alpha'' = (a/delta)^2 / 20 pi at low frequency (from memory)
        ((1 / 5, 1 / 5, 1 / 5), 2, 1 / 10),
        # round wire, a = 1, axial and transverse field: a^2 / 8, a^2 / 4 (Smythe, Static and
        # Dynamic Electricity, 3rd ed., ch. 10; from memory)
        ((1 / 4, 1 / 4, 1e9), 2, 1 / 8),
        ((1 / 4, 1 / 4, 1e9), 0, 1 / 4),
    ],
)
def test_losses_of_plate_ball_and_wire_are_the_textbook_ones(moment, axis, expected):
    found = loss_tensor(np.diag(moment))
    assert found[axis, axis] == pytest.approx(expected, rel=1e-6)


def test_losses_turn_with_the_body():
    moment = np.diag([1.0, 2.0, 5.0])
    turn = rotations.matrix(rotations.normalise([0.9, 0.3, -0.2, 0.1]))
    np.testing.assert_allclose(
        loss_tensor(turn @ moment @ turn.T), turn @ loss_tensor(moment) @ turn.T, atol=1e-12
    )


def test_losses_of_a_square_bar_are_bounded_from_above():
    # the currents in a long bar in an axial field follow Prandtl's stress function of torsion:
    # p = sigma B'^2 J / (4 A), J = 0.1406 a^4 of a square (Timoshenko & Goodier, Theory of
    # Elasticity, 3rd ed., section 109; from memory)
    exact = 0.1406 / 4
    found = loss_tensor(np.diag([1 / 12, 1 / 12, 1e9]))[2, 2]
    assert exact < found < 1.2 * exact


def test_a_flat_body_without_extent_loses_nothing_across():
    assert loss_tensor(np.diag([0.0, 0.0, 1.0]))[2, 2] == 0.0
    assert plate_thickness(loss_tensor(np.diag([3.0, 1e12, 1e12]))[1, 1]) == pytest.approx(6.0)


@pytest.mark.parametrize("ratio", [0.05, 1.0, 2.5, 6.0, 30.0])
def test_screened_loss_is_that_of_the_diffusing_field(ratio):
    # plate of thickness d = ratio delta, B = Re b exp(i omega t), b ~ cosh(k x), k = (1 + i)/delta
    # (Jackson, section 5.18); E by Faraday, mean flux kept; against the loss of a uniform field
    d = ratio

    def field(x):
        k = 1 + 1j
        mean = 2 * np.sinh(k * d / 2) / (k * d)
        return np.array([abs(np.sinh(k * x) / k / mean) ** 2, x * x])

    heat, slow = quad_vec(field, -d / 2, d / 2)[0]
    assert skin_factor(ratio) == pytest.approx(heat / slow, rel=1e-6)


def test_slow_changes_are_not_screened_and_fast_ones_on_the_surface_only():
    assert skin_factor(1e-3) == 1.0
    assert skin_factor(0.0101) == pytest.approx(1.0, abs=1e-6)
    assert skin_factor(100.0) == pytest.approx(0.03)
    assert skin_factor(40.01) == pytest.approx(skin_factor(39.99), rel=1e-3)
