"""Stress that chips a magnet: against the point load it must equal, and what limits the band."""

import math

import pytest

from snapsim.mechanics.edge_stress import magnet_edge_stress, rim_stress
from snapsim.mechanics.peak_force import effective_modulus, hertz_impact
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS, Material
from snapsim.parts.shapes import Box, Sphere

STEEL = Material("steel", 7850.0, youngs_modulus=210e9, poissons_ratio=0.30, strength=300e6)
MAGNET = Material(
    "magnet", 7500.0, remanence=1.3, youngs_modulus=160e9, poissons_ratio=0.24, strength=250e6,
    tensile_strength=75e6,
)  # fmt: skip


def body(shape, material):
    return Body("part", shape, material, None, False)


BALL, BLOCK = body(Sphere(0.02), STEEL), body(Box((0.1, 0.1, 0.04)), MAGNET)


def test_rim_stress_is_that_of_a_point_load_at_the_same_distance():
    """sigma_r = (1 - 2 nu) F/(2 pi r^2) on the surface (Boussinesq; Timoshenko & Goodier, Theory of
    Elasticity, 3rd ed. 1970, sect. 138, from memory) holds outside a round load and at its rim."""
    force, radius, nu = 6123.5738, 1.1e-3, 0.24
    pressure = 1.5 * force / (math.pi * radius**2)
    point = (1 - 2 * nu) * force / (2 * math.pi * radius**2)
    assert rim_stress(pressure, nu) == pytest.approx(point, rel=1e-12)


def test_ball_on_a_magnet_elastic_above_first_yield_of_the_ball_below():
    """p_0 = 4839.95 MPa for a 20 mm steel ball on NdFeB at 3 m/s (Johnson 1985, 11.22-11.24, from
    memory, computed in closed form and by integration); first yield at p_0 = 1.6 Y (6.1)."""
    mass = math.pi / 6 * 0.02**3 * 7850
    (low, high), strength = magnet_edge_stress(BALL, BLOCK, mass, 3.0)
    assert high == pytest.approx((1 - 0.48) / 3 * 4839.95e6, rel=2e-6)
    assert low == pytest.approx((1 - 0.48) / 3 * 1.6 * 300e6, rel=1e-12)
    assert strength == 75e6
    assert magnet_edge_stress(BLOCK, BALL, mass, 3.0) == ((low, high), strength)


def test_two_magnets_do_not_yield_so_nothing_limits_the_blunt_end():
    one = body(Sphere(0.02), MAGNET)
    modulus = effective_modulus(160e9, 0.24, 160e9, 0.24)
    pressure = hertz_impact(0.01, 2.0, 0.005, modulus).pressure
    (low, high), _ = magnet_edge_stress(one, one, 0.01, 2.0)
    assert low == high == pytest.approx(rim_stress(pressure, 0.24), rel=1e-12)


def test_the_weaker_of_two_magnets_is_meant():
    ferrite = body(Box((0.1, 0.1, 0.02)), MATERIALS["hard ferrite"])
    _, strength = magnet_edge_stress(BLOCK, ferrite, 0.5, 1.0)
    assert strength == MATERIALS["hard ferrite"].strength  # no tensile strength known: this one
    assert magnet_edge_stress(ferrite, BLOCK, 0.5, 1.0)[1] == strength


def test_without_a_magnet_or_an_elastic_constant_nothing_is_said():
    (low, high), strength = magnet_edge_stress(BALL, BALL, 0.01, 1.0)
    assert all(math.isnan(x) for x in (low, high, strength))
    unknown = body(Box((0.1, 0.1, 0.02)), Material("unknown", 7000.0, remanence=1.0))
    assert math.isnan(magnet_edge_stress(BALL, unknown, 0.01, 1.0)[0][1])
