"""The peak-force band against Hertz' closed form and against integration of the motion."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from snapsim.mechanics import peak_force
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Sphere

STEEL = Material("steel", 7850.0, youngs_modulus=210e9, poissons_ratio=0.30, strength=300e6)
NDFEB = Material("magnet", 7500.0, youngs_modulus=160e9, poissons_ratio=0.24, strength=80e6)


def steel_ball(diameter):
    return math.pi / 6 * diameter**3 * 7850


@pytest.mark.parametrize(
    # F [N], depth [um], duration [us], p0 [MPa]: Johnson, Contact Mechanics (1985), 11.22-11.24
    # (from memory), values computed in closed form and by integration
    ("mass", "speed", "radius", "other", "force", "depth", "duration", "pressure"),
    [
        (steel_ball(0.01), 1.0, 0.005, (210e9, 0.3), 437.61846, 11.74039, 34.55521, 3559.46),
        (steel_ball(0.02), 1.0, 0.010, (210e9, 0.3), 1750.4738, 23.48079, 69.11042, 3559.46),
        (steel_ball(0.02), 5.0, 0.010, (210e9, 0.3), 12075.903, 85.09199, 50.08983, 6775.98),
        (steel_ball(0.05), 2.0, 0.025, (210e9, 0.3), 25134.58, 102.2061, 150.4103, 4696.74),
        (steel_ball(0.02) / 2, 2.0, 0.005, (210e9, 0.3), 2309.7641, 35.59022, 52.3759, 6197.38),
        (steel_ball(0.02), 3.0, 0.010, (160e9, 0.24), 6123.5738, 60.40958, 59.26734, 4839.95),
    ],
)
def test_hertz_impact_of_balls(mass, speed, radius, other, force, depth, duration, pressure):
    modulus = peak_force.effective_modulus(210e9, 0.3, *other)
    blow = peak_force.hertz_impact(mass, speed, radius, modulus)
    found = [blow.force, blow.indentation * 1e6, blow.duration * 1e6, blow.pressure / 1e6]
    np.testing.assert_allclose(found, [force, depth, duration, pressure], rtol=2e-6)


def test_hertz_impact_solves_the_equation_of_motion():
    mass, speed, radius, modulus = 0.2, 1.7, 0.012, 90e9
    blow = peak_force.hertz_impact(mass, speed, radius, modulus)
    k = 4 / 3 * modulus * math.sqrt(radius)

    def parting(t, y):
        return y[0]

    parting.terminal, parting.direction = True, -1
    run = solve_ivp(
        lambda t, y: [y[1], -k * max(y[0], 0) ** 1.5 / mass], (0, 1), [0, speed],
        events=parting, rtol=1e-10, atol=1e-14, max_step=blow.duration / 100,
    )  # fmt: skip
    assert blow.duration == pytest.approx(run.t[-1], rel=1e-6)
    assert blow.force == pytest.approx(k * run.y[0].max() ** 1.5, rel=1e-3)  # sampled maximum
    assert blow.indentation == pytest.approx(run.y[0].max(), rel=1e-3)


def test_plastic_force_spends_the_energy_of_the_blow():
    # int 1.07 Y pi R d dd = m V^2/2, integrated numerically up to the depth where F is reached
    mass, speed, radius, strength = 0.03, 3.0, 0.01, 300e6
    force = peak_force.plastic_force(mass, speed, radius, strength)
    slope = 1.6 * 2 / 3 * strength * math.pi * radius
    depth = np.linspace(0, force / slope, 1001)
    assert np.trapezoid(slope * depth, depth) == pytest.approx(0.5 * mass * speed**2, rel=1e-9)


def test_first_yield_speed_of_a_ball_on_a_flat():
    """V_Y = sqrt(26 (Y/E*)^4 Y/rho): 0.14 m/s for Y = 1000 N/mm2 (Johnson 1985, eq. 11.28 and
    section 11.5, from memory; 26 is rounded there). Below it both ends of the band are Hertz'."""
    y, e_star = 1000e6, peak_force.effective_modulus(210e9, 0.3, 210e9, 0.3)
    limit = math.sqrt(26 * (y / e_star) ** 4 * y / 7850)
    radius, mass = 0.01, steel_ball(0.02)
    low, high = peak_force.force_band(mass, 0.97 * limit, (radius, radius), e_star, y)
    assert low == high
    low, high = peak_force.force_band(mass, 1.03 * limit, (radius, radius), e_star, y)
    assert 0.85 * high < low < 0.92 * high  # sqrt(4/5): the elastic curve bends, the other not
    low, high = peak_force.force_band(mass, 32 * limit, (radius, radius), e_star, y)
    assert low < 0.5 * high  # yielding goes with V, Hertz with V^1.2


def body(shape, material):
    return Body("part", shape, material, None, False)


def test_sphere_on_sphere_is_hertz_exactly_at_the_upper_end():
    first, second = body(Sphere(0.02), STEEL), body(Sphere(0.02), STEEL)
    mass = steel_ball(0.02) / 2
    low, high = peak_force.peak_force_band(first, second, mass, 2.0)
    assert high == pytest.approx(2309.7641, rel=1e-6)
    assert 0 < low < high


def test_band_grows_with_speed_and_the_weaker_material_limits_it():
    part, magnet = body(Box((0.1, 0.1, 0.02)), STEEL), body(Box((0.1, 0.1, 0.04)), NDFEB)
    slow = peak_force.peak_force_band(part, magnet, 1.0, 0.5)
    fast = peak_force.peak_force_band(part, magnet, 1.0, 2.0)
    assert slow[0] < fast[0]
    assert slow[1] < fast[1]
    assert peak_force.peak_force_band(magnet, part, 1.0, 2.0) == fast
    stronger = body(part.shape, Material("x", 7850.0, None, youngs_modulus=160e9,
                                         poissons_ratio=0.24, strength=500e6))  # fmt: skip
    assert peak_force.peak_force_band(part, stronger, 1.0, 2.0)[0] > fast[0]


def test_unknown_moduli_and_strengths_are_nan_not_guessed():
    soft = body(Sphere(0.02), Material("unknown", 1000.0))
    steel = body(Sphere(0.02), STEEL)
    assert all(math.isnan(f) for f in peak_force.peak_force_band(soft, steel, 0.1, 1.0))
    brittle = Material("no strength", 7000.0, youngs_modulus=110e9, poissons_ratio=0.26)
    low, high = peak_force.peak_force_band(body(Sphere(0.02), brittle), steel, 0.1, 1.0)
    assert math.isnan(low)
    assert high > 0


def test_no_blow_without_closing_speed():
    assert peak_force.hertz_impact(1.0, 0.0, 0.01, 1e11).force == 0
    assert peak_force.hertz_impact(1.0, -1.0, 0.01, 1e11).duration == 0


def test_flat_face_is_stiffer_than_any_ball_that_fits_it():
    # rigid flat punch, F = V sqrt(2 E* a m) (Johnson 1985, eq. 3.36, from memory); a Hertz ball
    # that ends with the same contact radius gives sqrt(5/3) in place of sqrt(2)
    mass, speed, modulus, a = 1.0, 1.0, 1e11, 0.02
    flat = peak_force.flat_face_force(mass, speed, math.pi * a * a, modulus)
    radius = math.sqrt(16 * modulus * a**5 / (15 * mass * speed**2))
    ball = peak_force.hertz_impact(mass, speed, radius, modulus)
    assert ball.force / flat == pytest.approx(math.sqrt(5 / 6), rel=1e-9)
    assert peak_force.flat_face_band(mass, speed, 1e-6, modulus, 1e6)[0] == pytest.approx(1.0)


def test_a_face_landing_on_a_face_widens_the_band_up_to_the_flat_punch():
    part, magnet = body(Box((0.1, 0.1, 0.02)), STEEL), body(Box((0.1, 0.1, 0.04)), NDFEB)
    edge = peak_force.peak_force_band(part, magnet, 1.0, 2.0)
    flat = peak_force.peak_force_band(part, magnet, 1.0, 2.0, area=0.01)
    # F = V sqrt(2 E* a m), a = sqrt(A/pi) (Johnson 1985, eq. 3.36, from memory)
    modulus = peak_force.effective_modulus(210e9, 0.3, 160e9, 0.24)
    punch = 2.0 * math.sqrt(2 * modulus * math.sqrt(0.01 / math.pi) * 1.0)
    assert flat[1] == pytest.approx(punch, rel=1e-12)
    assert flat[0] == edge[0]  # a face a little crowned or tilted lands as before
    assert flat[1] > edge[1]
