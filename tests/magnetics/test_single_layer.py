"""Energies of pairs of charged faces against closed forms and crowded many-point rules."""

from itertools import pairwise

import numpy as np
import pytest

from snapsim.magnetics.charged_polygon import polygon_potential
from snapsim.magnetics.single_layer import (
    NEAR_RULES,
    _gauss_tables,
    near_pair,
    polygons,
    single_layer,
)

SQUARE = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
ALONE = np.ones((1, 3))

TOUCHING = {
    "coplanar, one edge": SQUARE + np.array([1, 0, 0]),
    "coplanar, one corner": SQUARE + np.array([1, 1, 0]),
    "right angle, one edge": np.array([[1.0, 0, 0], [1, 1, 0], [1, 1, 1], [1, 0, 1]]),
    "right angle, one corner": np.array([[1.0, 1, 0], [1, 2, 0], [1, 2, 1], [1, 1, 1]]),
    "folded back to 29 degrees": np.array(
        [[1, 0, 0], [1, 1, 0], [1 - np.cos(0.5), 1, np.sin(0.5)], [1 - np.cos(0.5), 0, np.sin(0.5)]]
    ),
    "long neighbour": np.array([[1.0, 0, 0], [1, 1, 0], [6, 1, 0], [6, 0, 0]]),
    "flat neighbour": np.array([[1.0, 0, 0], [1, 1, 0], [1, 1, 0.2], [1, 0, 0.2]]),
    "triangle": np.array([[1.0, 0, 0], [1, 1, 0], [1, 0, 1], [1, 0, 1]]),
}


def crowded_pair(outer, inner):
    """The same energy by a rule of 24 x 24 points crowded twice toward every edge."""
    x, w = np.polynomial.legendre.leggauss(24)
    x, w = (x + 1) / 2, w / 2
    for _ in range(2):
        w, x = w * 6 * x * (1 - x), x * x * (3 - 2 * x)
    normal = polygons(inner[None]).normal[0]
    total = 0.0
    for s, ws in zip(x, w, strict=True):
        for t, wt in zip(x, w, strict=True):
            place = (1 - s) * (1 - t) * outer[0] + s * (1 - t) * outer[1]
            place = place + s * t * outer[2] + (1 - s) * t * outer[3]
            total += ws * wt * polygon_potential(inner, normal, *place)
    return total  # the outer face is the unit square: its area element is 1


def test_a_square_on_itself_is_the_closed_form():
    # mean of 1/r over pairs of points of the unit square: 4 ln(1 + sqrt 2) + 4/3 (1 - sqrt 2)
    # (Durand, Electrostatique, 1964; from memory), here also found by quadrature to 1e-13
    found = single_layer(polygons(SQUARE[None]), ALONE)[0, 0, 0]
    exact = (4 * np.log(1 + np.sqrt(2)) + 4 / 3 * (1 - np.sqrt(2))) / (4 * np.pi)
    assert found == pytest.approx(exact, rel=1e-13)


@pytest.mark.parametrize("name", TOUCHING)
def test_touching_faces_agree_with_a_crowded_rule(name):
    pair = polygons(np.array([SQUARE, TOUCHING[name]]))
    found = single_layer(pair, ALONE)[0, 0, 1]
    # the crowded rule itself is good to 2e-9 (both orders of the pair compared)
    assert found == pytest.approx(crowded_pair(SQUARE, TOUCHING[name]), rel=3e-8)


@pytest.mark.parametrize(
    ("shift", "error"),
    [([0, 0, 0.3], 1e-8), ([0, 0, 1], 1e-7), ([2, 1, 1], 1e-7), ([3.05, 0, 0], 1e-7),
     ([4.6, 0, 0], 1e-7), ([7, 0, 0], 1e-7),
     ([9.95, 0, 0], 3e-6), ([30, 5, 0], 1e-7)],
)  # fmt: skip
def test_separate_faces_agree_with_a_crowded_rule(shift, error):
    # the far rules' own error falls as (size/distance)^(2 points); worst just past each threshold
    pair = polygons(np.array([SQUARE, SQUARE + shift]))
    found = single_layer(pair, ALONE)[0, 0, 1]
    assert found == pytest.approx(crowded_pair(SQUARE, SQUARE + shift), rel=error)


def test_images_equal_faces_that_are_really_there():
    # reflection of one face against the face drawn at its image
    slanted = np.array([[1, 0.2, 0.1], [2, 0.3, 0.1], [2, 0.9, 0.6], [1, 0.8, 0.6]])
    flips = np.array([[1.0, 1, 1], [-1, 1, 1], [1, -1, -1]])
    found = single_layer(polygons(np.array([SQUARE, slanted])), flips)
    for r, flip in enumerate(flips):
        image = (slanted * flip)[:: int(np.prod(flip))]
        there = single_layer(polygons(np.array([SQUARE, image])), ALONE)
        assert found[r, 0, 1] == pytest.approx(there[0, 0, 1], rel=1e-8)  # order of the pair
        assert found[r, 1, 0] == found[r, 0, 1]


def test_a_pair_is_the_same_either_way_round():
    nodes, weights = _gauss_tables()
    other = polygons(TOUCHING["right angle, one edge"][None])
    mine = polygons(SQUARE[None])
    one = near_pair(
        SQUARE, mine.sides[0], other.corners[0], other.normal[0], NEAR_RULES, nodes, weights
    )
    two = near_pair(
        other.corners[0], other.sides[0], SQUARE, mine.normal[0], NEAR_RULES, nodes, weights
    )
    assert one == pytest.approx(two, rel=1e-8)


def rectangle(x, y):
    """Corners of x[0] <= x <= x[1], y[0] <= y <= y[1] in the plane z = 0."""
    return np.array([[x[0], y[0], 0], [x[1], y[0], 0], [x[1], y[1], 0], [x[0], y[1], 0]])


def cut(face, x, y):
    """The rectangle `face` cut along lines of constant x and y."""
    low, high = face.min(axis=0), face.max(axis=0)
    xs, ys = (
        sorted({low[i], high[i], *(c for c in at if low[i] < c < high[i])})
        for i, at in enumerate((x, y))
    )
    return [rectangle((a, b), (c, d)) for a, b in pairwise(xs) for c, d in pairwise(ys)]


def total_energy(one, other):
    """Sum of the pairs of two lists of faces."""
    layer = single_layer(polygons(np.array([*one, *other])), ALONE)[0]
    return layer[: len(one), len(one) :].sum()


OVERLAPPING = {
    "shifted": rectangle((0.3, 1.3), (0.2, 1.2)),
    "within": rectangle((0.3, 0.7), (0.3, 0.7)),
    "cross": rectangle((0.37, 0.57), (-1.0, 2.0)),
    "half": rectangle((0.5, 1.5), (0.0, 1.0)),
    "itself": rectangle((0.0, 1.0), (0.0, 1.0)),
}


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("name", OVERLAPPING)
def test_overlapping_faces_of_one_plane_are_the_sum_of_parts_that_match(name, turned):
    # as where two solids with unlike cells are joined; the parts share edges or are the same face
    other = OVERLAPPING[name]
    lines = [[*SQUARE[:, i], *other[:, i]] for i in range(2)]
    expected = total_energy(cut(SQUARE, *lines), cut(other, *lines))
    found = total_energy([SQUARE], [other[::-1] if turned else other])
    assert found == pytest.approx(expected, rel=1e-7)


WALLS = {
    "inside": np.array([[0.2, 0.5, 0], [0.8, 0.5, 0], [0.8, 0.5, 1], [0.2, 0.5, 1]]),
    "small": np.array([[0.4, 0.5, 0], [0.6, 0.5, 0], [0.6, 0.5, 0.2], [0.4, 0.5, 0.2]]),
    "right across": np.array([[0.0, 0.5, 0], [1.0, 0.5, 0], [1.0, 0.5, 0.6], [0.0, 0.5, 0.6]]),
}


@pytest.mark.parametrize("name", WALLS)
def test_a_face_that_stands_on_another_is_the_sum_over_both_sides_of_its_foot(name):
    expected = total_energy(cut(SQUARE, WALLS[name][:, 0], (0.5,)), [WALLS[name]])
    assert total_energy([SQUARE], [WALLS[name]]) == pytest.approx(expected, rel=1e-7)
    # and so it is under a mirror, where the image is the other face
    flips = np.array([[1.0, 1, 1], [1, 1, -1]])
    pair = single_layer(polygons(np.array([SQUARE, WALLS[name]])), flips)
    assert pair[1, 0, 1] == pytest.approx(expected, rel=1e-7)


def test_a_wall_over_the_rim_of_what_it_stands_on_is_within_a_thousandth():
    wall = np.array([[-0.5, 0.5, 0], [1.5, 0.5, 0], [1.5, 0.5, 0.5], [-0.5, 0.5, 0.5]])
    pieces = [
        np.array([[a, 0.5, 0], [b, 0.5, 0], [b, 0.5, 0.5], [a, 0.5, 0.5]])
        for a, b in ((-0.5, 0), (0, 1), (1, 1.5))
    ]
    expected = total_energy(cut(SQUARE, (), (0.5,)), pieces)
    assert total_energy([SQUARE], [wall]) == pytest.approx(expected, rel=1e-3)


def test_rows_filled_in_bands_are_those_filled_at_once(monkeypatch):
    # an interrupt is answered between bands; nothing else may depend on them
    corners = np.array([SQUARE + np.array([x, y, 0.3 * x]) for x in range(4) for y in range(5)])
    flips = np.array([[1.0, 1, 1], [-1, 1, 1]])
    monkeypatch.setattr("snapsim.magnetics.single_layer.BAND", 1000)
    whole = single_layer(polygons(corners), flips)
    monkeypatch.setattr("snapsim.magnetics.single_layer.BAND", 3)
    assert np.array_equal(single_layer(polygons(corners), flips), whole)
