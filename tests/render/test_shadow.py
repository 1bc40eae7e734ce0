"""Shadows on the ground."""

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Ring
from snapsim.render.shadow import Ground, throw

SLOPE = np.array([0.3, 0.1])


def test_a_point_on_the_ground_is_its_own_shadow_and_a_high_one_falls_along_the_slope():
    points = np.array([[0.1, 0.2, -0.05], [0.1, 0.2, 0.45]])
    assert throw(points, -0.05, SLOPE) == pytest.approx(
        np.array([[0.1, 0.2], [0.1 + 0.5 * 0.3, 0.2 + 0.5 * 0.1]])
    )


def test_shadow_area_of_a_thin_low_plate_is_its_own_area():
    corners, triangles = Box((0.2, 0.1, 0.001)).surface(8)
    ground = Ground(np.zeros(2), 0.2, 0.0, 160, SLOPE)
    dark = ground.darkness(corners + np.array([0, 0, 0.002]), triangles)
    assert dark.sum() * (0.4 / 160) ** 2 == pytest.approx(0.02, rel=0.05)  # 2.5 mm pixels


def test_the_bore_of_a_ring_lets_light_through():
    corners, triangles = Ring(0.2, 0.1, 0.002).surface(64)
    ground = Ground(np.zeros(2), 0.2, 0.0, 160, SLOPE)
    dark = ground.darkness(corners + np.array([0, 0, 0.004]), triangles)
    assert dark[80, 80] < 0.05
    assert dark[80, 80 + 30] > 0.95


def test_higher_bodies_cast_softer_shadows():
    corners, triangles = Box((0.1, 0.1, 0.001)).surface(8)
    ground = Ground(np.zeros(2), 0.3, 0.0, 160, 0 * SLOPE)
    low, high = (ground.darkness(corners + np.array([0, 0, z]), triangles) for z in (0.005, 0.2))
    assert low.max() > high.max()


def test_what_is_below_the_ground_casts_none():
    corners, triangles = Box((0.1, 0.1, 0.01)).surface(8)
    ground = Ground(np.zeros(2), 0.2, 0.0, 160, SLOPE)
    assert not ground.darkness(corners - np.array([0, 0, 0.1]), triangles).any()
