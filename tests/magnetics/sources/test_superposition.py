"""Posed magnets: rotation, translation and sum, against a general library."""

import magpylib
import numpy as np
from scipy.spatial.transform import Rotation

from snapsim.magnetics.sources import field_of_magnets, magnet_set, source_for
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere

SHAPES = [Box((0.04, 0.02, 0.01)), Cylinder(0.02, 0.01), Sphere(0.03)]
MAGNETISATIONS = np.array([[0.0, 0.0, 1e6], [3e5, -7e5, 2e5], [1e5, 0.0, 4e5]])
POSITIONS = np.array([[0.1, 0.0, 0.02], [-0.05, 0.06, 0.0], [0.0, -0.08, 0.05]])
TURNS = Rotation.random(3, rng=np.random.default_rng(8))
POINTS = np.random.default_rng(9).uniform(-0.15, 0.15, (200, 3))


def quaternions() -> np.ndarray:
    return TURNS.as_quat(scalar_first=True)


def test_sum_of_posed_magnets_agrees_with_magpylib() -> None:
    """magpylib 6.3 getH of a list of posed magnets (orientation by scipy's Rotation)."""
    magnets = [
        magpylib.magnet.Cuboid(dimension=(0.04, 0.02, 0.01)),
        magpylib.magnet.Cylinder(dimension=(0.02, 0.01)),
        magpylib.magnet.Sphere(diameter=0.03),
    ]
    for magnet, m, x, turn in zip(magnets, MAGNETISATIONS, POSITIONS, TURNS, strict=True):
        magnet.magnetization, magnet.position, magnet.orientation = m, x, turn
    expected = magpylib.getH(magnets, POINTS, sumup=True)
    packed = magnet_set([source_for(s) for s in SHAPES], MAGNETISATIONS)
    h, _ = field_of_magnets(packed, POSITIONS, quaternions(), POINTS)
    error = np.linalg.norm(h - expected, axis=1)
    assert np.all(error < 1e-9 * np.linalg.norm(expected, axis=1))


def test_world_gradient_is_the_derivative_of_the_world_field() -> None:
    """Central differences at 1e-4 and 2e-4 m, extrapolated once: 1e-7 of the largest entry."""
    shapes = [*SHAPES, Ring(0.03, 0.01, 0.01), HexNut(0.02, 0.01, 0.01)]
    turns = Rotation.random(5, rng=np.random.default_rng(3)).as_quat(scalar_first=True)
    positions = np.random.default_rng(2).uniform([-0.2, -0.2, 0.3], [0.2, 0.2, 0.7], (5, 3))
    m = np.random.default_rng(4).uniform(-1e6, 1e6, (5, 3))
    packed = magnet_set([source_for(s) for s in shapes], m)
    _, g = field_of_magnets(packed, positions, turns, POINTS[:20])
    for axis in range(3):
        step = 1e-4 * np.eye(3)[axis]
        d = [
            (
                field_of_magnets(packed, positions, turns, POINTS[:20] + k * step)[0]
                - field_of_magnets(packed, positions, turns, POINTS[:20] - k * step)[0]
            )
            / (2e-4 * k)
            for k in (1, 2)
        ]
        assert np.allclose(
            g[:, :, axis], (4 * d[0] - d[1]) / 3, rtol=0, atol=1e-7 * np.abs(g).max()
        )


def test_accumulation_adds_to_what_is_there_and_no_magnet_adds_nothing() -> None:
    packed = magnet_set([source_for(SHAPES[0])], MAGNETISATIONS[:1])
    h, g = packed.field_and_gradient(POSITIONS[:1], quaternions()[:1], POINTS)
    h2, g2 = h.copy(), g.copy()
    packed.add_field_and_gradient(POSITIONS[:1], quaternions()[:1], POINTS, h2, g2)
    assert np.allclose(h2, 2 * h)
    assert np.allclose(g2, 2 * g)
    none = magnet_set([], np.empty((0, 3)))
    h0, g0 = none.field_and_gradient(np.empty((0, 3)), np.empty((0, 4)), POINTS)
    assert not h0.any()
    assert not g0.any()


def test_evaluation_of_a_box_magnet_is_fast(benchmark) -> None:
    """216 points, H and G: about 25 us on one core when measured; no bound is asserted."""
    packed = magnet_set([source_for(SHAPES[0])], MAGNETISATIONS[:1])
    position, quaternion = POSITIONS[:1].copy(), quaternions()[:1].copy()
    points = np.ascontiguousarray(np.resize(POINTS, (216, 3)))
    h, _ = benchmark(packed.field_and_gradient, position, quaternion, points)
    assert h.shape == (216, 3)
