"""Bodies cut by a plane have the outlines that geometry says."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Ring
from snapsim.render.plots.cut import CutPlane, loops

OAK = Material("oak", 700.0)
AT = np.array([0.01, 0.02, 0.03])


def area(loop):
    x, y = loop.T
    return 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def cut(shape, quaternion, plane):
    return loops(Body("b", shape, OAK, None, True), AT, quaternion, plane)


def test_a_turned_box_cut_through_its_centre():
    """Turned by 30 degrees about y, the plane y = const still shows its whole x-z face."""
    turn = rotations.from_axis_angle([0, 1, 0], np.pi / 6)
    (loop,) = cut(Box((0.06, 0.04, 0.02)), turn, CutPlane(AT, 0, 2))
    assert area(loop) == pytest.approx(0.06 * 0.02, rel=1e-9)
    reach = 0.03 * np.cos(np.pi / 6) + 0.01 * np.sin(np.pi / 6)
    assert np.abs(loop[:, 0] - AT[0]).max() == pytest.approx(reach, rel=1e-9)


def test_a_ring_shows_two_rectangles_along_its_axis_and_two_circles_across():
    """Areas of the polygons of 96 sides that stand for the circles: within 0.1 %."""
    ring = Ring(0.1, 0.04, 0.02)
    along = cut(ring, rotations.IDENTITY, CutPlane(AT, 0, 2))
    assert sorted(area(loop) for loop in along) == pytest.approx([0.03 * 0.02] * 2, rel=1e-3)
    across = sorted(area(loop) for loop in cut(ring, rotations.IDENTITY, CutPlane(AT, 0, 1)))
    assert across == pytest.approx([np.pi * 0.02**2, np.pi * 0.05**2], rel=2e-3)


def test_a_plane_beside_the_body_shows_nothing():
    beside = AT + np.array([0, 0.03, 0])
    assert cut(Box((0.06, 0.04, 0.02)), rotations.IDENTITY, CutPlane(beside, 0, 2)) == []
