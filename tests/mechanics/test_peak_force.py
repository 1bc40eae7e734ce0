"""The peak-force band against Hertz' closed form and against integration of the motion."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from snapsim.mechanics import peak_force
from snapsim.mechanics.elastic_plastic import plastic_blow
from snapsim.mechanics.meeting import Feature, meeting
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS, Material
from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere

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


def test_below_first_yield_both_ends_are_hertz():
    """V_Y = sqrt(26 (Y/E*)^4 Y/rho): 0.14 m/s for Y = 1000 N/mm2 (Johnson 1985, eq. 11.28 and
    section 11.5, from memory)."""
    y, e_star = 1000e6, peak_force.effective_modulus(210e9, 0.3, 210e9, 0.3)
    limit = math.sqrt(26 * (y / e_star) ** 4 * y / 7850)
    hard = Material("x", 7850.0, youngs_modulus=210e9, poissons_ratio=0.3, hardness=2.84 * y / 0.85)
    ball, flat = body(Sphere(0.02), hard), body(Box((0.1, 0.1, 0.02)), hard)
    low, high = peak_force.peak_force_band(ball, flat, steel_ball(0.02), limit)
    assert low == high
    low, high = peak_force.peak_force_band(ball, flat, steel_ball(0.02), 32 * limit)
    hertz = peak_force.hertz_impact(steel_ball(0.02), 32 * limit, 0.01, e_star).force
    assert low < 0.85 * hertz < high < 0.95 * hertz


def body(shape, material):
    return Body("part", shape, material, None, False)


def test_sphere_on_sphere_is_hertz_exactly_at_the_upper_end():
    first, second = body(Sphere(0.02), STEEL), body(Sphere(0.02), STEEL)
    mass = steel_ball(0.02) / 2
    low, high = peak_force.peak_force_band(first, second, mass, 2.0)
    assert 0 < low < high <= 2309.7641 * (1 + 1e-6)
    diamond = body(Sphere(0.02), Material("x", 7850.0, youngs_modulus=210e9, poissons_ratio=0.3,
                                          hardness=80e9))  # fmt: skip
    low, high = peak_force.peak_force_band(diamond, diamond, mass, 2.0)
    assert low == pytest.approx(2309.7641, rel=1e-3)  # read off a table of powers
    assert high == pytest.approx(2309.7641, rel=1e-3)


def test_band_grows_with_speed_and_the_weaker_material_limits_it():
    part, magnet = body(Box((0.1, 0.1, 0.02)), STEEL), body(Box((0.1, 0.1, 0.04)), NDFEB)
    slow = peak_force.peak_force_band(part, magnet, 1.0, 0.5)
    fast = peak_force.peak_force_band(part, magnet, 1.0, 2.0)
    assert slow[0] < fast[0]
    assert slow[1] < fast[1]
    assert peak_force.peak_force_band(magnet, part, 1.0, 2.0) == fast
    harder = body(part.shape, Material("x", 7850.0, None, youngs_modulus=160e9,
                                         poissons_ratio=0.24, strength=500e6))  # fmt: skip
    assert peak_force.peak_force_band(part, harder, 1.0, 2.0)[0] > fast[0]


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


FACES = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, -1.0])


def test_a_flat_landing_reaches_the_rigid_punch_and_no_more_than_the_first_wave():
    part = replace(body(Box((0.1, 0.1, 0.02)), STEEL), name="part")
    magnet = replace(body(Box((0.1, 0.1, 0.04)), NDFEB), fixed=True)
    # F = V sqrt(2 E* a m), a = sqrt(A/pi) (Johnson 1985, eq. 3.36, from memory)
    modulus = peak_force.effective_modulus(210e9, 0.3, 160e9, 0.24)
    punch = 2.0 * math.sqrt(2 * modulus * math.sqrt(0.01 / math.pi) * 1.0)
    _, high = peak_force.peak_force_band(part, magnet, 1.0, 2.0, area=0.01)
    assert high == pytest.approx(punch, rel=1e-12)
    thick = body(Box((0.1, 0.1, 0.5)), STEEL)  # thick enough that the wave is less than the punch
    low, high = peak_force.peak_force_band(thick, magnet, thick.mass, 1.0, 0.01, FACES)
    # rho c V A with c of confined compression: 7850 * 5998 m/s * 0.01 m^2
    assert high == pytest.approx(470.9e3, rel=2e-3)
    assert 0 < low <= high


def test_the_wave_between_rods_is_the_one_dimensional_solution():
    # rigid wall: sigma = rho c v, 40.60 MPa per m/s for steel (Goldsmith 1960, ch. 2, from memory;
    # nu = 0, since a rod is not confined); of two equal rods each bears half
    rod_steel = Material("rod", 7850.0, youngs_modulus=210e9, poissons_ratio=0.0, strength=3e8)
    rod = body(Box((0.01, 0.01, 0.1)), rod_steel)
    wall = replace(rod, fixed=True)
    assert peak_force.wave_force(rod, wall, 1.0, 1e-4, FACES) == pytest.approx(40.60e2, rel=1e-3)
    assert peak_force.wave_force(rod, rod, 1.0, 1e-4, FACES) == pytest.approx(20.30e2, rel=1e-3)
    # a face that bears more than the column behind it has no such cap: what is heavier goes on
    assert peak_force.wave_force(rod, wall, 1.0, 0.5e-4, FACES) == math.inf


def leaning(degrees):
    """Outward normals of a disc that leans by so much against a face."""
    t = math.radians(degrees)
    return np.array([math.sin(t), 0.0, math.cos(t)]), np.array([0.0, 0.0, -1.0])


@pytest.mark.parametrize("tilt", [3, 5, 15, 45, 70])
def test_of_a_rim_with_given_radius_and_hardness_the_band_is_within_a_factor_two(tilt):
    iron = Material("cast iron", 7200.0, youngs_modulus=110e9, poissons_ratio=0.26, hardness=1.96e9)
    blank = replace(body(Ring(0.11, 0.026, 0.018), iron), edge_radius=1e-3)
    magnet = body(Box((0.12, 0.08, 0.04)), replace(NDFEB, hardness=5.9e9))
    low, high = peak_force.peak_force_band(blank, magnet, 1.07, 3.52, 0.0, leaning(tilt))
    assert high / low < 2
    assumed = replace(blank, edge_radius=None, material=MATERIALS["grey cast iron"])
    wide = peak_force.peak_force_band(assumed, magnet, 1.07, 3.52, 0.0, leaning(tilt))
    assert wide[0] < low
    assert wide[1] > 0.97 * high  # a rounding of 1 mm at most, against 1.2 mm
    assert wide[1] / wide[0] < 4


@pytest.mark.parametrize("seed", range(20))
def test_the_upper_end_bears_what_a_rounded_edge_pressed_at_full_hardness_does(seed):
    """Against the area of a real rounded edge, cut by hand: circle first, then the two faces beyond
    its tangents. At the pressure H throughout (the most), integrated over the depth."""
    rng = np.random.default_rng(seed)
    r, radius, tilt = rng.uniform(0.3e-3, 2e-3), rng.uniform(0.02, 0.08), rng.uniform(0.1, 1.4)
    energy, hardness, modulus = 10 ** rng.uniform(-1, 1), 2e9, 70e9
    depth = np.linspace(0, 3e-3, 4001)
    along = radius / math.sin(tilt)

    def width(d):
        """Of the cut at depth d below the apex of the rounding (Q across, tangents at tilt)."""
        total = np.zeros_like(d)
        for angle in (tilt, math.pi / 2 - tilt):
            end = r * (1 - math.cos(angle))  # depth to which the circle goes on that side
            arc = np.sqrt(np.maximum(2 * r * np.minimum(d, end) - np.minimum(d, end) ** 2, 0))
            total += arc + np.maximum(d - end, 0) / math.tan(angle)
        return total

    # along the rim the depth falls off as x^2 / (2 R'): integrate the strips
    x = np.linspace(0, 1, 801)
    area = np.array(
        [
            2 * np.trapezoid(width(d * (1 - x**2)), x) * math.sqrt(2 * along * d) if d > 0 else 0.0
            for d in depth[::40]
        ]
    )
    force = hardness * area
    work = np.concatenate([[0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(depth[::40]))])
    work += force**2 / (4 * modulus * np.sqrt(np.maximum(area, 1e-30) / math.pi))
    true = float(np.interp(energy, work, force))
    disc = replace(body(Cylinder(2 * radius, 0.02), STEEL), edge_radius=r)
    found = meeting(disc, leaning(math.degrees(tilt))[0])
    blow = plastic_blow(2 * energy, 1.0, found.radii[1], modulus, hardness / 2.84, 0.3, found.wedge)
    assert blow.force > 0.98 * true


def test_a_face_a_rim_and_a_side_are_told_apart():
    disc = body(Cylinder(0.1, 0.02), STEEL)
    assert meeting(disc, leaning(0)[0]).feature == Feature.FACE
    assert meeting(disc, leaning(30)[0]).feature == Feature.EDGE
    assert meeting(disc, leaning(90)[0]).radii[0] == pytest.approx(math.sqrt(0.05 * 0.01))
    box = body(Box((0.1, 0.06, 0.02)), STEEL)
    assert meeting(box, np.array([0.0, 1.0, 0.0])).feature == Feature.FACE
    assert meeting(box, np.array([0.0, 0.6, 0.8])).feature == Feature.EDGE
    corner = meeting(box, np.full(3, 1 / math.sqrt(3)))
    # a cube cut square to its diagonal at the depth w: an equilateral triangle, sqrt(27)/2 w^2
    assert corner.wedge.area(np.array([1e-3]))[0] == pytest.approx(math.sqrt(27) / 2 * 1e-6)
    assert meeting(box, None).feature == Feature.UNKNOWN
