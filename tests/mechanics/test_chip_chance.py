"""The chance of chipping: Weibull in closed form, what it grows with, and that it discriminates."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from snapsim.mechanics.chip_chance import (
    ASSUMED,
    chip_chances,
    constants_of,
    edge_chance,
    growth_chance,
    ring_chance,
)
from snapsim.mechanics.chipping import chipping, together
from snapsim.mechanics.peak_force import hertz_impact
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS, Material
from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere

DOWN, UP = np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, 1.0])
MAGNET = Body("magnet", Box((0.12, 0.08, 0.04)), MATERIALS["NdFeB N45"], UP, True)


def ball(material, diameter=0.02):
    return Body("ball", Sphere(diameter), MATERIALS[material], None, False)


def test_the_ring_is_weibulls_integral_over_the_surface_outside_the_contact():
    # integral of (s/s0)^M dA/A0 with s = sigma (a/r)^2 (Weibull 1951; two parameters)
    sigma, s0, modulus, a, unit = 200e6, 250e6, 10.0, 1e-3, 1e-4
    risk, _ = quad(lambda r: (sigma / s0 * (a / r) ** 2) ** modulus * 2 * math.pi * r, a, 10 * a)
    expected = 1 - math.exp(-risk / unit)
    found = ring_chance(sigma, math.pi * a**2, modulus, s0, unit)
    assert found == pytest.approx(expected, rel=1e-6)


def test_size_effect_of_weibull():
    """Equal chance at stresses in the ratio (A_2/A_1)^(1/M) (Weibull 1951)."""
    small = ring_chance(200e6, 1e-6, 10.0, 250e6, 1e-4)
    assert ring_chance(200e6 * 0.01**0.1, 1e-4, 10.0, 250e6, 1e-4) == pytest.approx(small)


def test_at_the_force_of_its_toughness_an_edge_chips_every_other_time():
    assert edge_chance(150e3 * 0.5e-3, 150e3, 0.5e-3, 10.0) == pytest.approx(0.5)
    assert edge_chance(0.0, 150e3, 0.5e-3, 10.0) == 0.0


@pytest.mark.parametrize("radius", [1e-3, 5e-3, 20e-3])
def test_rings_under_spheres_grow_from_auerbachs_force_on(radius):
    """A hard sphere makes a ring crack in soda-lime glass from F = 8.6e3 K_Ic^2 R/E on (Lawn, J.
    Am. Ceram. Soc. 81 (1998) 1977, from memory): half of them at beta = 0.03, rounded."""
    k_ic, youngs = 0.75e6, 70e9
    known = 8.6e3 * k_ic**2 * radius / youngs
    elastic = hertz_impact(
        1.0, 1.0, radius, youngs
    )  # pressure goes with the cube root of the force
    mean = elastic.pressure / 1.5 * (known / elastic.force) ** (1 / 3)
    beta = math.sqrt(0.75 * math.pi**2 / 8.6e3)
    assert beta == pytest.approx(0.03, rel=0.03)
    assert growth_chance(known, mean, k_ic / beta, 10.0) == pytest.approx(0.5, rel=1e-6)
    assert growth_chance(0.2 * known, mean * 0.2 ** (1 / 3), k_ic / beta, 10.0) < 1e-3


def test_magnets_that_meet_face_to_face_are_not_reassured_by_their_flat_faces():
    """No two faces are parallel: a corner comes first (common practice, no source: magnets let go
    to each other chip at edges). 370 kN at 11 m/s were once said to chip 6 % at most."""
    cube = Body("cube", Box((0.05, 0.05, 0.025)), MATERIALS["NdFeB N45"], UP, True)
    for speed in (0.3, 1.0, 10.0):
        low, middle, high = chip_chances(cube, cube, 0.23, speed, 0.0025, (DOWN, UP))
        assert chipping((low, middle, high)) == "likely"
        assert middle > 0.5
    gentle = chip_chances(cube, cube, 0.23, 1e-3, 0.0025, (DOWN, UP))
    assert chipping(gentle) == "not_shown"


def test_a_part_that_lands_flat_or_along_its_side_is_no_safer_than_its_corner():
    disc = Body("disc", Cylinder(0.1, 0.02), MATERIALS["low-carbon steel"], None, False)
    side = np.array([1.0, 0.0, 0.0])
    speeds = (0.002, 0.02, 0.1, 0.5, 3.0)
    order = ["not_shown", "possible", "likely"]
    for outward, area in ((DOWN, math.pi / 4 * 0.01), (side, 0.0)):
        each = [chip_chances(disc, MAGNET, 1.0, v, area, (outward, UP)) for v in speeds]
        said = [order.index(chipping(c)) for c in each]
        assert said == sorted(said)
        assert (said[0], said[-1]) == (0, 2)


def test_a_small_part_that_lands_flat_may_lie_over_the_rim():
    """Where on the pole it lands is not told, so its upper end is that of a part as wide."""
    disc = Body("disc", Cylinder(0.03, 0.02), MATERIALS["low-carbon steel"], None, False)
    small, wide = math.pi / 4 * 0.03**2, 0.12 * 0.08
    for speed in (0.01, 0.03, 0.1):
        found = chip_chances(disc, MAGNET, 0.1, speed, small, (DOWN, UP))
        whole = chip_chances(disc, MAGNET, 0.1, speed, wide, (DOWN, UP))
        assert found[2] >= whole[2] > 0


def test_over_the_speeds_of_a_show_it_is_not_one_word():
    hard = ball("bearing steel")
    mass = hard.mass
    said = [
        chipping(chip_chances(hard, MAGNET, mass, v, 0.0, (DOWN, UP)))
        for v in (0.02, 0.05, 0.1, 0.3, 1.0, 5.0)
    ]
    assert said[0] == "not_shown"
    assert said[-1] == "likely"
    order = ["not_shown", "possible", "likely"]
    assert [order.index(s) for s in said] == sorted(order.index(s) for s in said)


def test_the_bracket_holds_the_typical_and_grows_with_the_speed():
    part = Body("blank", Ring(0.11, 0.026, 0.018), MATERIALS["grey cast iron"], None, False)
    lean = np.array([math.sin(0.3), 0.0, math.cos(0.3)])
    each = [
        chip_chances(part, MAGNET, 1.07, v, 0.0, (lean, DOWN)) for v in (0.02, 0.1, 0.5, 2.0, 5.0)
    ]
    for low, middle, high in each:
        assert 0 <= low <= middle <= high <= 1
    assert [c[2] for c in each] == sorted(c[2] for c in each)


def test_a_blow_on_the_magnets_own_corner_is_worse_than_on_its_face():
    hard, corner = ball("bearing steel"), np.full(3, 1 / math.sqrt(3))
    on_face = chip_chances(hard, MAGNET, hard.mass, 0.1, 0.0, (DOWN, UP))
    on_corner = chip_chances(hard, MAGNET, hard.mass, 0.1, 0.0, (-corner, corner))
    assert on_corner[1] > on_face[1]


def test_constants_that_a_material_gives_replace_the_assumed_ones():
    own = Material("own", 7500.0, remanence=1.2, youngs_modulus=160e9, poissons_ratio=0.24,
                   hardness=5.9e9, weibull_modulus=12.0, weibull_strength=500e6)  # fmt: skip
    magnet = Body("magnet", MAGNET.shape, own, UP, True)
    assert constants_of(magnet).modulus == (12.0,) * 3
    assert constants_of(MAGNET) == ASSUMED
    hard = ball("bearing steel")
    stronger = chip_chances(hard, magnet, hard.mass, 0.5, 0.0, (DOWN, UP))
    assert stronger[2] < chip_chances(hard, MAGNET, hard.mass, 0.5, 0.0, (DOWN, UP))[2]


def test_blows_add_up_and_what_is_not_known_is_not_judged():
    assert together([(0.0, 0.1, 0.5), (0.0, 0.1, 0.5)]) == pytest.approx((0.0, 0.19, 0.75))
    assert math.isnan(together([])[2])
    unknown = Body("m", MAGNET.shape, Material("x", 7500.0, remanence=1.0), UP, True)
    assert chipping(chip_chances(ball("bearing steel"), unknown, 0.03, 1.0)) == "not_judged"
    assert (
        chipping(chip_chances(ball("bearing steel"), ball("aluminium"), 0.03, 1.0)) == "not_judged"
    )
