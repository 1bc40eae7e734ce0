"""Potential of a charged polygon against closed forms and plain quadrature."""

import numpy as np
import pytest

from snapsim.magnetics.charged_polygon import polygon_potential

SQUARE = np.array([[1.0, 1, 0], [-1, 1, 0], [-1, -1, 0], [1, -1, 0]])
UP = np.array([0.0, 0.0, 1.0])


def axial_square(z: float) -> float:
    """4 pi phi on the axis of the square |x|, |y| < 1: eight right triangles of legs 1 and 1,
    each asinh(1/sqrt(1 + z^2)) - z atan(1/(z sqrt(2 + z^2))), elementary integration."""
    r = np.hypot(1, z)
    if z == 0:
        return 8 * np.arcsinh(1.0)
    return 8 * np.arcsinh(1 / r) - 4 * z * np.arctan(1 / (z * np.sqrt(2 + z * z)))


@pytest.mark.parametrize("z", [0.0, 1e-6, 0.3, 1.0, 7.0])
def test_the_potential_on_a_squares_axis_is_the_closed_form(z):
    # rounding only
    found = 4 * np.pi * polygon_potential(SQUARE, UP, 0, 0, z)
    assert found == pytest.approx(axial_square(z), rel=1e-12)


def test_a_slanted_triangle_agrees_with_gauss_quadrature():
    corners = np.array([[0, 0, 0], [1, 0, 0.5], [0, 2, 0.1], [0, 2, 0.1]])
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    x, w = np.polynomial.legendre.leggauss(40)
    u, wu = (x + 1) / 2, w / 2
    total = 0.0
    point = np.array([0.3, 0.4, 0.9])
    for s, ws in zip(u, wu, strict=True):
        for t, wt in zip(u, wu, strict=True):
            at = (1 - s) * corners[0] + s * ((1 - t) * corners[1] + t * corners[2])
            total += ws * wt * s * np.linalg.norm(normal) / np.linalg.norm(at - point)
    found = 4 * np.pi * polygon_potential(corners, normal / np.linalg.norm(normal), *point)
    assert found == pytest.approx(total, rel=1e-10)  # 40-point rule on a smooth integrand


def test_the_potential_is_continuous_across_edge_corner_and_face():
    # potential of a surface charge is continuous (Jackson, 3rd ed., section 1.6; from memory)
    for place in ([1.0, 0.3, 0.0], [1.0, 1.0, 0.0], [0.2, -0.4, 0.0]):
        here = polygon_potential(SQUARE, UP, *place)
        for step in np.vstack([np.eye(3), -np.eye(3)]) * 1e-9:
            # |grad phi| near an edge is below ln(1/1e-9), so the change is below 1e-7
            there = polygon_potential(SQUARE, UP, *(np.array(place) + step))
            assert np.isfinite(here)
            assert abs(there - here) < 1e-7
