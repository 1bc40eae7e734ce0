"""Set down, and at a gap: against what the support function of a turned box says, from anywhere.

A box of half sizes h turned by R reaches down sum_k |R_zk| h_k below its centre (the support
function of a box, elementary).
"""

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import CLEAR, at_gap, set_down
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box

TOLERANCE = 3e-9
"""Brent's method stops within 1e-9 m; the gap of an edge is known to rounding."""


@pytest.mark.parametrize("seed", range(40))
def test_a_part_is_set_down_from_any_height_on_a_table_of_any_thickness(
    seed, make_body, make_system
):
    """Also from so high that a step past a thin table would be no longer than those before it."""
    draw = np.random.default_rng(seed)
    size = 10 ** draw.uniform(-3, -1.2, 3)
    thickness = 10 ** draw.uniform(-3, -1.5)
    turn = rotations.normalise(draw.normal(size=4))
    reach = float(np.abs(rotations.matrix(turn)[2]) @ size / 2)
    sunk = -min(reach, thickness / 2) * draw.uniform() + reach
    height = sunk if seed % 4 == 0 else reach + 10 ** draw.uniform(-6, 0)
    table = make_body("table", Box((2.0, 2.0, thickness)), fixed=True)
    below = make_body("floor", Box((2.0, 2.0, 0.1)), fixed=True)
    rows = [
        (make_body("part", Box(tuple(size))), (0.1, -0.2, height), turn),
        (table, (0, 0, -thickness / 2)),
        (below, (0, 0, -1.0)),
    ]
    system = make_system(rows)
    for on in (None, 1):
        place = set_down(system, 0, Place(np.array([0.1, -0.2, height]), turn), on)
        assert place.position[2] == pytest.approx(reach + CLEAR, abs=TOLERANCE)
        np.testing.assert_array_equal(place.position[:2], [0.1, -0.2])


def test_what_does_not_lie_under_a_part_carries_nothing(make_body, make_system):
    shelf = make_body("shelf", Box((0.2, 0.2, 0.01)), fixed=True)
    part = make_body("part", Box((0.02, 0.02, 0.02)))
    system = make_system([(part, (0, 0, -0.1)), (shelf, (0, 0, 0))])
    place = Place(np.array([0, 0, -0.1]), rotations.IDENTITY)
    with pytest.raises(InputError, match='"shelf" does not lie under "part"'):
        set_down(system, 0, place, 1)
    with pytest.raises(InputError, match='nothing lies under "part"'):
        set_down(system, 0, place)


@pytest.mark.parametrize("x", [-0.3, -0.02, 0.0, 0.011, 0.015, 0.4])
def test_a_gap_is_met_at_the_nearer_side(make_body, make_system, x):
    """A block of 20 mm, a part of 10 mm: centres 15 mm and the gap apart, on the part's own side;
    right in the middle, back along the way."""
    block = make_body("block", Box((0.02, 0.02, 0.02)), fixed=True)
    system = make_system([(make_body("part", Box((0.01,) * 3)), (x, 0, 0)), (block, (0, 0, 0))])
    constraints, way = Constraints(system, 0), np.array([1.0, 0.0, 0.0])
    place = Place(np.array([x, 0.0, 0.0]), rotations.IDENTITY)
    found = at_gap(constraints, place, way, np.array([True]), 0.007, both=True)
    expected = 0.022 if x > 0 else -0.022
    assert found.position[0] == pytest.approx(expected, abs=TOLERANCE)


def test_a_gap_that_is_nowhere_within_reach(make_body, make_system):
    block = make_body("block", Box((0.02, 0.02, 0.02)), fixed=True)
    system = make_system([(make_body("part", Box((0.01,) * 3)), (0, 0, 0.1)), (block, (0, 0, 0))])
    place = Place(np.array([0.0, 0.0, 0.1]), rotations.IDENTITY)
    sideways = np.array([1.0, 0.0, 0.0])
    found = at_gap(Constraints(system, 0), place, sideways, np.array([True]), 0.01, both=True)
    assert found is None
