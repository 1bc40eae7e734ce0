"""A ball's field against a general library and the demagnetising factor 1/3."""

import magpylib
import numpy as np

from snapsim.magnetics.sources import source_for
from snapsim.parts.shapes import Sphere

BALL = Sphere(0.03)
OBLIQUE = np.array([3e5, -7e5, 2e5])


def test_field_agrees_with_magpylib() -> None:
    """magpylib 6.3 Sphere.getH; both are elementary, so rounding only."""
    points = np.random.default_rng(1).uniform(-0.1, 0.1, (500, 3))
    expected = magpylib.magnet.Sphere(magnetization=OBLIQUE, diameter=0.03).getH(points)
    error = np.linalg.norm(source_for(BALL).field(points, OBLIQUE) - expected, axis=1)
    assert np.all(error < 1e-13 * np.linalg.norm(expected, axis=1))


def test_inside_the_demagnetising_factor_is_a_third() -> None:
    """Osborn, Phys. Rev. 67, 351 (1945) (from memory): N = 1/3."""
    tensor = source_for(BALL).tensor([[0.0, 0.0, 0.0], [0.004, -0.01, 0.003]])
    assert np.allclose(tensor, np.eye(3) / 3, rtol=0, atol=1e-15)


def test_a_point_on_the_surface_counts_as_outside() -> None:
    h = source_for(BALL).field([0, 0, 0.015], [0, 0, 3.0])
    assert np.allclose(h, [[0, 0, 2.0]], rtol=1e-14)
