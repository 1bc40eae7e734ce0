"""How a part lies, and the words for it: hand-made poses of which one sees what they are."""

import numpy as np
import pytest

from snapsim.landscape.lie import Attitude, LieSide, lie
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere
from snapsim.words.lies import lie_words

Y = np.array([0.0, 1.0, 0.0])


@pytest.fixture
def posed(make_body, make_system, materials):
    """A part under a pole whose face is at z = 0, 160 mm wide, and a table 120 mm below it."""

    def make(shape, position, angle=0.0, table=-0.12):
        magnet = make_body("magnet", Box((0.16, 0.16, 0.04)), materials["magnet"], (0, 0, -1), True)
        part = make_body("part", shape, materials["iron"](300.0))
        board = make_body("table", Box((0.6, 0.6, 0.02)), fixed=True)
        turn = rotations.from_axis_angle(Y, np.radians(angle))
        rows = [(magnet, (0, 0, 0.02)), (part, position, turn), (board, (0, 0, table - 0.01))]
        system = make_system(rows)
        return lie(system, 1, system.start.pose)

    return make


DISC = Cylinder(0.06, 0.01)


@pytest.mark.parametrize(
    ("shape", "position", "angle", "words"),
    [
        (DISC, (0, 0, -0.005), 0, "flat under magnet, in the middle"),
        (DISC, (0.05, 0, -0.005), 180, "flat under magnet, near its rim, 50 mm off centre"),
        (DISC, (0.02, 0, -0.03), 90, "on edge under magnet, 20 mm off centre"),
        (DISC, (0.085, 0, 0.02), 90, "flat at the side of magnet, in the middle"),
        (DISC, (0, 0, 0.045), 0, "flat on top of magnet, in the middle"),
        (DISC, (0, 0, -0.115), 0, "flat on table"),
        (Sphere(0.03), (0, 0, -0.105), 0, "on table"),
        (Cylinder(0.01, 0.06), (0, 0, -0.03), 0, "on end under magnet, in the middle"),
        (Cylinder(0.01, 0.06), (0, 0, -0.005), 90, "on its side under magnet, in the middle"),
        (DISC, (0, 0, -0.06), 0, "free in the air, axis 0 deg from the vertical"),
    ],
)
def test_a_part_lies_as_one_sees(posed, shape, position, angle, words):
    assert lie_words(posed(shape, position, angle)) == words


def test_a_part_between_table_and_pole_is_wedged(posed):
    """A ring of 130 mm between faces 120 mm apart: tilted by t it is 130 sin t + 10 cos t high."""
    from scipy.optimize import brentq

    tilt = brentq(lambda t: 0.13 * np.sin(t) + 0.01 * np.cos(t) - 0.12, 0.5, 1.4)
    found = posed(Ring(0.13, 0.06, 0.01), (0, 0, -0.06), np.degrees(tilt))
    assert found.attitude is Attitude.LEANING
    assert found.side is LieSide.UNDER
    angle = f"{np.degrees(tilt):.0f}"
    assert (
        lie_words(found) == f"wedged between table and magnet, axis {angle} deg from the vertical"
    )


def test_two_discs_that_lie_on_each_other_are_face_to_face(make_body, make_system, materials):
    iron = materials["iron"](300.0)
    rows = [
        (make_body("left", DISC, iron), (0, 0, 0)),
        (make_body("right", DISC, iron), (0, 0, 0.01)),
    ]
    system = make_system(rows)
    assert lie_words(lie(system, 0, system.start.pose)) == "flat, face to face with right"
