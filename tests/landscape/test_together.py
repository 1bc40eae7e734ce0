"""Several bodies as one: slopes of the joint energy, rests of two parts, and Earnshaw's theorem."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.analysis.rests import together_summary, together_table
from snapsim.errors import InputError
from snapsim.landscape.descent import settle
from snapsim.landscape.joint_rests import joint_rests
from snapsim.landscape.several import (
    Arrangement,
    SeveralConstraints,
    SeveralLandscape,
    several_settings,
)
from snapsim.mechanics.joints import String
from snapsim.parts.shapes import Box, Sphere


@pytest.fixture
def two(make_body, make_system, materials):
    """Two plates under a pole, askew, neither touching anything."""
    magnet = make_body("magnet", Box((0.1, 0.08, 0.04)), materials["magnet"], (0, 0, -1), True)
    plate = make_body("left", Box((0.03, 0.02, 0.01)), materials["iron"](300.0, 1.6))
    rows = [
        (magnet, (0, 0, 0.02)), (plate, (-0.03, 0.01, -0.05)),
        (replace(plate, name="right"), (0.02, 0, -0.06)),
    ]  # fmt: skip
    return make_system(rows, detail=60)


def test_slope_is_that_of_the_joint_energy_and_the_row_of_a_contact_that_of_its_gap(two):
    """Central differences over 20 micrometres; 1e-5 of the largest slope."""
    landscape, constraints = SeveralLandscape(two, [1, 2]), SeveralConstraints(two, [1, 2])
    start = landscape.start
    slope, h = landscape.at(start).slope, 2e-5
    for k, unit in enumerate(np.eye(12)):
        ahead, behind = (landscape.at(landscape.moved(start, s * h * unit)).energy for s in (1, -1))
        assert (ahead - behind) / (2 * h) == pytest.approx(slope[k], abs=1e-5 * np.abs(slope).max())
    limits = constraints.limits(start, 0.2)
    between = [k for k, pair in enumerate(limits.pair.tolist()) if sorted(pair) == [1, 2]]
    row = limits.jacobian[between[0]]
    assert row[:3] == pytest.approx(-row[6:9])
    d = np.concatenate([1e-5 * row[:3], np.zeros(3), 1e-5 * row[6:9], np.zeros(3)])
    gap = [constraints.gaps(p)[2] for p in (start, landscape.moved(start, d))]
    assert gap[1] - gap[0] == pytest.approx(row @ d, rel=1e-2)


def test_two_parts_under_a_pole_come_to_rest_at_it_and_never_free_in_the_air(two):
    """Earnshaw, Trans. Camb. Phil. Soc. 7, 97 (1842), for iron Braunbek, Z. Phys. 112, 753 (1939)
    (both from memory): no arrangement is stable in which a body touches nothing."""
    found = joint_rests(two, 2)
    stays = [r for r in found.rests if r.verdict == "stable"]
    assert stays
    for rest in stays:
        touched = {name for pair in rest.touches for name in pair}
        assert {"left", "right"} <= touched
        assert sum(rest.holding.values()) > 0
    result = together_summary(found)
    assert result["answer"]
    assert together_table(result) is not None


def test_two_balls_on_strings_hang_where_the_closed_form_says(make_body, make_system, materials):
    """Two magnetised balls on strings of length l, moments upright, hung a apart, repel as dipoles:
    m g tan(t) = 3 mu_0 p^2/(4 pi r^4), r = a + 2 l sin(t); by Griffiths, Introduction to
    Electrodynamics, 4th ed., eq. 6.3 (from memory). Tied at their centres, moments held upright by
    nothing but symmetry: the torque on them is nil there."""
    from scipy.optimize import brentq

    from snapsim.constants import MU_0

    ball = make_body("left", Sphere(0.02), materials["magnet"], (0, 0, 1))
    moment = np.linalg.norm(ball.magnetisation) * ball.shape.volume
    length, apart = 0.3, 0.12
    system = make_system(
        [(ball, (-0.06, 0, -length)), (replace(ball, name="right"), (0.06, 0, -length))]
    )
    cords = tuple(
        String(
            name=f"cord {k}", bodies=(k, -1), points=(np.zeros(3), np.array([x, 0.0, 0.0])),
            length=length,
        )
        for k, x in ((0, -0.06), (1, 0.06))
    )  # fmt: skip
    system = replace(system, joints=cords)
    landscape, constraints = SeveralLandscape(system, [0, 1]), SeveralConstraints(system, [0, 1])
    weight = ball.mass * 9.80665

    def surplus(t):
        r = apart + 2 * length * np.sin(t)
        return weight * np.tan(t) - 3 * MU_0 * moment**2 / (4 * np.pi * r**4)

    t = brentq(surplus, 0.0, 1.0)
    aside = 0.5 * apart + length * np.sin(t)
    place = Arrangement(
        np.array([[-aside, 0, -length * np.cos(t)], [aside, 0, -length * np.cos(t)]]),
        landscape.start.quaternion,
    )
    slope = landscape.at(place).slope
    limits = constraints.limits(place, 1e-3)
    tension = weight / np.cos(t)
    assert limits.gap == pytest.approx([0.0, 0.0], abs=1e-9)
    # the strings bear all of the load: what is left of it is rounding
    assert slope - limits.jacobian.T @ [tension, tension] == pytest.approx(
        np.zeros(12), abs=1e-6 * weight
    )
    settings = several_settings(landscape, 0.004, 2.0)
    found = settle(landscape, constraints, place, settings)
    assert found.place.position == pytest.approx(place.position, abs=1e-3)


def test_fewer_than_two_free_bodies_are_refused(make_body, make_system, materials):
    part = make_body("part", Box((0.1, 0.1, 0.1)), materials["iron"](100.0))
    with pytest.raises(InputError, match="two free bodies"):
        joint_rests(make_system([(part, (0, 0, 0))]))
