"""Interpolation from values and slopes: the covariances, exactness, and what it says of its error.

The prediction is checked against Rasmussen & Williams, Gaussian Processes for Machine Learning,
2006, eqs. (2.23) and (2.24) (from memory), with covariances of slopes differentiated by sympy.
"""

import numpy as np
import pytest
import sympy

from snapsim.numerics.kriging import NUGGET, kriging


def by_sympy(length):
    """Covariance of (f, df/dx, df/dy) at two points of a plane, as numpy functions."""
    u, v = sympy.symbols("u0:2", real=True), sympy.symbols("v0:2", real=True)
    square = sum((a - b) ** 2 for a, b in zip(u, v, strict=True))
    k = sympy.exp(-square / (2 * sympy.Float(length, 30) ** 2))
    rows = [k, sympy.diff(k, u[0]), sympy.diff(k, u[1])]
    return sympy.lambdify(
        (*u, *v), [[row, sympy.diff(row, v[0]), sympy.diff(row, v[1])] for row in rows]
    )


def surface(x, y):
    """A smooth function of two variables and its slopes."""
    return np.sin(x) * np.exp(0.3 * y), np.array(
        [np.cos(x) * np.exp(0.3 * y), 0.3 * np.sin(x) * np.exp(0.3 * y)]
    )


def observed(points):
    """Values and slopes at points (n, 2)."""
    found = [surface(*p) for p in points]
    return np.array([f[0] for f in found]), np.array([f[1] for f in found])


@pytest.fixture
def plane():
    """Nine scattered points, their values and slopes, and the plane's tangents."""
    points = np.random.default_rng(5).uniform(-1, 1, (9, 2))
    return points, np.tile(np.eye(2), (9, 1, 1)), *observed(points)


def test_mean_and_deviation_are_those_of_the_textbook(plane):
    """Against K^-1 by numpy from sympy's covariances; 1e-6: the matrix' condition is 1e8."""
    points, _, values, slopes = plane
    length, at = 0.9, np.array([0.2, -0.3])
    found = kriging(*plane, length).at(at, np.eye(2))
    cov = by_sympy(length)
    matrix = np.block([[np.array(cov(*p, *q), dtype=float) for q in points] for p in points])
    matrix += NUGGET * np.diag(np.diag(matrix))
    cross = np.hstack([np.array(cov(*at, *q), dtype=float) for q in points])
    y = np.hstack([(values - values[-1])[:, None], slopes]).ravel()
    weight = np.linalg.solve(matrix, y)
    mean = cross @ weight
    scale = y @ weight / len(y)
    left = np.array(cov(*at, *at), dtype=float) - cross @ np.linalg.solve(matrix, cross.T)
    assert found.value == pytest.approx(values[-1] + mean[0], rel=1e-6)
    assert found.slopes == pytest.approx(mean[1:], rel=1e-6)
    assert found.deviation == pytest.approx(np.sqrt(scale * np.diag(left)[1:]), rel=1e-3)


def test_what_was_observed_is_met(plane):
    """An interpolant; 1e-6 is left to the nugget of 1e-11."""
    points, _, values, slopes = plane
    fit = kriging(*plane, 0.9)
    for point, value, slope in zip(points, values, slopes, strict=True):
        found = fit.at(point, np.eye(2))
        assert found.value == pytest.approx(value, abs=1e-6)
        assert found.slopes == pytest.approx(slope, abs=1e-5)
        assert np.all(found.deviation < 1e-4)


def test_slopes_are_the_derivatives_of_the_value(plane):
    """By central differences of 1e-4: their own error is 1e-9, rounding's 1e-8."""
    fit, at, step = kriging(*plane, 0.9), np.array([0.1, 0.4]), 1e-4
    slopes = fit.at(at, np.eye(2)).slopes
    for k, e in enumerate(np.eye(2)):
        ahead, behind = (fit.at(at + s * step * e, np.eye(2)).value for s in (1, -1))
        assert slopes[k] == pytest.approx((ahead - behind) / (2 * step), abs=1e-6)


def test_error_shrinks_with_places_and_stays_within_what_it_says():
    """A sine is no draw of the process, so the deviation is a guess: within four of it."""
    rng, worst = np.random.default_rng(2), []
    for count in (4, 8, 16):
        points = rng.uniform(-1, 1, (count, 2))
        fit = kriging(points, np.tile(np.eye(2), (count, 1, 1)), *observed(points), 1.2)
        errors = []
        for at in rng.uniform(-0.7, 0.7, (30, 2)):
            found = fit.at(at, np.eye(2))
            error = np.abs(found.slopes - surface(*at)[1])
            assert np.all(error <= 4 * found.deviation + 1e-6)
            errors.append(error.max())
        worst.append(max(errors))
    assert worst[2] < 0.1 * worst[0]


def test_slopes_along_a_surface_are_enough():
    """On a circle, u = (cos t, sin t): df/dt along the one tangent; f = sin 2t + t^2 / 5."""
    t = np.linspace(0, 1.5, 8)
    points = np.stack([np.cos(t), np.sin(t)], axis=1)
    tangents = np.stack([-np.sin(t), np.cos(t)], axis=1)[:, :, None]
    fit = kriging(
        points, tangents, np.sin(2 * t) + t**2 / 5, (2 * np.cos(2 * t) + 0.4 * t)[:, None], 0.8
    )
    at = 0.77
    found = fit.at(np.array([np.cos(at), np.sin(at)]), np.array([[-np.sin(at)], [np.cos(at)]]))
    assert found.value == pytest.approx(np.sin(2 * at) + at**2 / 5, abs=1e-5)
    assert found.slopes[0] == pytest.approx(2 * np.cos(2 * at) + 0.4 * at, abs=1e-4)


def test_what_cannot_be_interpolated_gives_none(plane):
    """A slope that is no number has no likelihood; nor has a function that is zero all over."""
    points, tangents, values, slopes = plane
    assert kriging(points, tangents, values, np.where(slopes > 0, slopes, np.nan), 0.9) is None
    assert kriging(points, tangents, 0 * values, 0 * slopes, 0.9) is None


def test_of_two_lengths_the_likelier_one_predicts_better(plane):
    """The likelihood's use: a length far too short is told from one that fits."""
    fits = [kriging(*plane, length) for length in (0.2, 1.2)]
    at = np.array([0.25, 0.1])
    errors = [np.abs(f.at(at, np.eye(2)).slopes - surface(*at)[1]).max() for f in fits]
    assert fits[1].surprise < fits[0].surprise
    assert errors[1] < errors[0]
