"""Charged polygons and bodies bounded by them against elementary results and a library."""

import magpylib
import numpy as np
import pytest

from snapsim.magnetics.charged_polygon_field import polyhedron_field, polyhedron_parameters
from snapsim.magnetics.sources import source_for
from snapsim.magnetics.sources.hex_nut import prism
from snapsim.parts.shapes import Box

UP = (0.0, 0.0, 1.0)


def evaluate(polygons: list[np.ndarray], points: np.ndarray, m: tuple[float, ...]) -> np.ndarray:
    """(k, 9) field and gradient."""
    par = polyhedron_parameters(polygons)
    return np.array([polyhedron_field(par, *x, *m) for x in points])


def flat(loop: list[tuple[float, float]]) -> np.ndarray:
    return np.array([(x, y, 0.0) for x, y in loop])


def test_field_over_the_middle_of_a_charged_square() -> None:
    """H = Omega/(4 pi), Omega = 4 asin(s^2/(s^2 + 4 h^2)) for a square of side s at height h
    (Khadjavi, J. Opt. Soc. Am. 58, 1417 (1968); from memory)."""
    square = flat([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    for height in (0.1, 0.7, 5.0, -0.3):
        h = evaluate([square], np.array([[0.0, 0.0, height]]), UP)[0]
        omega = 4 * np.arcsin(4 / (4 + 4 * height**2)) * np.sign(height)
        assert h[2] == pytest.approx(omega / (4 * np.pi), rel=1e-13)


def test_a_polygon_with_a_notch_is_the_sum_of_its_parts() -> None:
    notched = flat([(0, 0), (3, 0), (3, 2), (2, 2), (2, 1), (1, 1), (1, 2), (0, 2)])
    parts = [
        flat([(0, 0), (3, 0), (3, 1), (0, 1)]),
        flat([(0, 1), (1, 1), (1, 2), (0, 2)]),
        flat([(2, 1), (3, 1), (3, 2), (2, 2)]),
    ]
    points = np.random.default_rng(1).uniform(-1, 4, (200, 3))
    whole = evaluate([notched], points, UP)
    total = sum(evaluate([p], points, UP) for p in parts)
    assert np.abs(whole - total).max() < 1e-12 * np.abs(total).max()


def test_a_prism_of_polygons_is_the_closed_form_box() -> None:
    """Two independent routes to one field (the box's is checked in 40 digits elsewhere)."""
    box = Box((0.04, 0.02, 0.01))
    m = (3e5, -7e5, 2e5)
    faces = prism(box.outline.polygon, box.outline.half_length)
    points = np.random.default_rng(2).uniform(-0.05, 0.05, (300, 3))
    got = evaluate(faces, points, m)
    h, g = source_for(box).field_and_gradient(points, m)
    assert np.abs(got[:, :3] - h).max() < 1e-12 * np.abs(h).max()
    columns = g[:, [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]]
    assert np.all(np.abs(got[:, 3:] - columns).max(axis=1) < 1e-10 * np.abs(columns).max(axis=1))


def test_a_tetrahedron_agrees_with_magpylib() -> None:
    """magpylib 6.3 Tetrahedron.getH; unshared, skew faces."""
    corners = np.array([[0.0, 0, 0], [0.03, 0.002, 0], [0.004, 0.025, 0.001], [0.01, 0.007, 0.02]])
    faces = [corners[list(f)] for f in ((0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2))]
    points = np.random.default_rng(3).uniform(-0.03, 0.05, (300, 3))
    m = (3e5, -7e5, 2e5)
    expected = magpylib.magnet.Tetrahedron(magnetization=m, vertices=corners).getH(points)
    error = np.linalg.norm(evaluate(faces, points, m)[:, :3] - expected, axis=1)
    assert np.all(error < 1e-9 * np.linalg.norm(expected, axis=1))


@pytest.mark.parametrize("place", [(0.0, 0.0), (0.3, 0.3), (-0.7, -0.7), (0.3, 0.2), (0.0, 0.9)])
def test_on_a_face_the_field_is_that_just_outside_it(place: tuple[float, float]) -> None:
    # On the diagonals two triangles of the face meet; H_n jumps by M across the face. Reference:
    # the box's closed form 1e-9 above, where rounding over that height leaves it 1e-7.
    loop = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    bottom, top = (np.column_stack([loop, np.full(4, z)]) for z in (-1.0, 1.0))
    sides = [np.array([bottom[i - 1], bottom[i], top[i], top[i - 1]]) for i in range(4)]
    par = polyhedron_parameters([top, bottom[::-1], *sides])
    on = polyhedron_field(par, *place, 1.0, 0.0, 0.0, 1.0)[:3]
    box = source_for(Box((2.0, 2.0, 2.0))).field([(*place, 1.0 + 1e-9)], (0.0, 0.0, 1.0))[0]
    assert on == pytest.approx(box, abs=1e-7)


def test_a_face_without_area_is_refused() -> None:
    with pytest.raises(ValueError, match="no area"):
        polyhedron_parameters([np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]])])
