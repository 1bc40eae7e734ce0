"""Prisms: volume, centre, inertia and pieces against boxes and handbook sums; bad outlines."""

import re

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Prism
from snapsim.parts.shapes.solid_moments import surface_moments


def test_a_prism_on_a_rectangle_is_the_box_wherever_it_is_drawn():
    box = Box((0.03, 0.02, 0.05))
    prism = Prism(((0.1, 0.2), (0.13, 0.2), (0.13, 0.22), (0.1, 0.22)), 0.05)
    assert prism.volume == pytest.approx(box.volume, rel=1e-13)
    assert prism.gyration == pytest.approx(box.gyration, rel=1e-12, abs=1e-17)
    assert prism.extents == pytest.approx(box.extents, rel=1e-13)
    assert prism.drawn_centre == pytest.approx([0.115, 0.21, 0], rel=1e-13)


def test_the_centroid_and_second_moments_of_an_angle(l_outline):
    # two rectangles, 60 x 10 and 10 x 30, by Steiner's theorem (Beer & Johnston, Mechanics of
    # Materials, appendix A; from memory)
    parts = [((0.06, 0.01), (0.03, 0.005)), ((0.01, 0.03), (0.005, 0.025))]
    area = np.array([w * h for (w, h), _ in parts])
    at = np.array([c for _, c in parts])
    centre = area @ at / area.sum()
    x2, y2 = (
        sum(
            a * (s[i] ** 2 / 12 + (c[i] - centre[i]) ** 2)
            for a, (s, c) in zip(area, parts, strict=True)
        )
        / area.sum()
        for i in range(2)
    )
    xy = sum(a * np.prod(np.subtract(c, centre)) for a, (_, c) in zip(area, parts, strict=True))
    z2 = 0.02**2 / 12
    prism = Prism(l_outline, 0.02)
    assert prism.drawn_centre[:2] == pytest.approx(centre, rel=1e-13)
    expected = np.diag([y2 + z2, x2 + z2, x2 + y2])
    expected[0, 1] = expected[1, 0] = -xy / area.sum()
    assert prism.gyration == pytest.approx(expected, rel=1e-12, abs=1e-18)


@pytest.mark.parametrize("turned", [False, True])
def test_the_surface_encloses_the_prism(l_outline, turned):
    prism = Prism(l_outline[::-1] if turned else l_outline, 0.02)
    volume, centre, gyration = surface_moments(*prism.surface(0))
    assert volume == pytest.approx(prism.volume, rel=1e-13)
    assert centre == pytest.approx(np.zeros(3), abs=1e-17)
    assert gyration == pytest.approx(prism.gyration, rel=1e-12, abs=1e-18)


def test_an_angle_is_two_convex_pieces(l_outline):
    prism = Prism(l_outline, 0.02)
    assert len(prism.pieces) == 2
    assert sum(p.shape.volume for p in prism.pieces) == pytest.approx(prism.volume, rel=1e-13)
    moment = sum(p.shape.volume * p.position for p in prism.pieces)
    assert moment == pytest.approx(np.zeros(3), abs=1e-18)


def test_a_cog_falls_into_convex_pieces_of_its_volume(cog_outline):
    cog = Prism(cog_outline, 0.03)
    assert all(p.shape.is_convex for p in cog.pieces)
    assert sum(p.shape.volume for p in cog.pieces) == pytest.approx(cog.volume, rel=1e-12)
    assert len(cog.pieces) < 100


def test_a_convex_outline_keeps_no_straight_corners():
    prism = Prism(((0, 0), (1, 0), (2, 0), (2, 1), (0, 1)), 1)
    assert prism.pieces is None
    assert len(prism.outline.polygon) == 4


@pytest.mark.parametrize(
    ("points", "complaint"),
    [
        (((0, 0), (1, 1), (1, 0), (0, 1)), "crosses or touches itself: side 1 .* meets side 3"),
        (((0, 0), (1, 0), (2, 0)), "one line|touches itself"),
        (((0, 0), (1, 0), (1, 0), (0, 1)), "2 and 3 are one point"),
        (((0, 0), (1, 0), (0, 1), (0, 0)), "4 and 1 are one point"),
        (((0, 0), (2, 0), (2, 1), (1, 0), (0, 1)), "touches itself"),
        (((0, 0), (2, 0), (1, 0), (1, 1)), "touches itself"),
        (((0, 0), (1, 0), (float("nan"), 1)), "finite"),
        (((0, 0), (1, 0)), "3 to 400 corners"),
    ],
)
def test_an_unsound_outline_is_named(points, complaint):
    ((field, text),) = Prism(points, 1.0).problems
    assert field == "points"
    assert re.search(complaint, text)


@pytest.mark.parametrize("length", [0.0, -1.0, float("inf")])
def test_an_unsound_length_is_named(length, l_outline):
    assert Prism(l_outline, length).problems[0][0] == "length"
