"""Compounds: mass properties against the whole they make, and against handbook sums."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Compound, Cylinder, Piece, Sphere
from snapsim.parts.shapes.solid_moments import surface_moments


def at(x, y, z):
    return np.array([x, y, z], dtype=float)


def test_two_halves_are_the_whole_box():
    half = Box((0.03, 0.08, 0.04))
    both = Compound((Piece(half, at(0.045, 1, 2)), Piece(half, at(0.015, 1, 2))))
    whole = Box((0.06, 0.08, 0.04))
    assert both.volume == pytest.approx(whole.volume, rel=1e-14)
    assert both.gyration == pytest.approx(whole.gyration, rel=1e-12, abs=1e-18)
    assert both.extents == pytest.approx(whole.extents, rel=1e-13)
    assert both.drawn_centre == pytest.approx([0.03, 1, 2], rel=1e-14)


def test_a_turned_half_is_turned():
    quarter = rotations.matrix(rotations.from_axis_angle([0, 0, 1], np.pi / 2))
    one = Box((0.03, 0.08, 0.04))
    other = Piece(Box((0.08, 0.03, 0.04)), at(-0.015, 0, 0), quarter)
    both = Compound((Piece(one, at(0.015, 0, 0)), other))
    assert both.gyration == pytest.approx(Box((0.06, 0.08, 0.04)).gyration, rel=1e-12, abs=1e-18)


def test_a_dumb_bell_by_steiner():
    # bar on axis z of length l, balls of radius r at its ends: I_x = bar (3 a^2 + l^2)/12 + 2 ball
    # [2/5 r^2 + (l/2 + r)^2] (Beer & Johnston, Vector Mechanics: Dynamics, app. B; from memory)
    a, length, r = 0.01, 0.1, 0.02
    bar, ball = Cylinder(2 * a, length), Sphere(2 * r)
    d = length / 2 + r
    shape = Compound((Piece(bar), Piece(ball, at(0, 0, d)), Piece(ball, at(0, 0, -d))))
    across = bar.volume * (3 * a**2 + length**2) / 12
    across += 2 * ball.volume * (2 / 5 * r**2 + d**2)
    assert shape.gyration[0, 0] * shape.volume == pytest.approx(across, rel=1e-13)


def test_the_surface_encloses_the_members():
    shape = Compound((Piece(Box((1, 2, 3))), Piece(Box((1, 1, 1)), at(1, 0, 0))))
    volume, centre, gyration = surface_moments(*shape.surface(8))
    assert volume == pytest.approx(7, rel=1e-14)
    assert centre == pytest.approx(np.zeros(3), abs=1e-15)
    assert gyration == pytest.approx(shape.gyration, rel=1e-12)


def test_a_members_fault_is_named():
    shape = Compound((Piece(Box((1, 2, 3))), Piece(Box((1, -1, 1)), at(1, 0, 0))))
    assert shape.problems[0][0] == "members[2].shape.size"
