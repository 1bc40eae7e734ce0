"""Force and torque between any two bodies: a matrix whose rows add up, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.analysis.curves import along_csv, along_summary
from snapsim.analysis.summary import force_summary
from snapsim.constants import MU_0
from snapsim.landscape.force import force
from snapsim.landscape.look_around import force_along
from snapsim.parts.shapes import Box, Ring, Sphere


@pytest.fixture
def crowd(make_body, make_system, materials):
    """Two magnets, one of them free, and two soft parts, all askew: nothing cancels."""
    rows = [
        (
            make_body("big", Box((0.1, 0.08, 0.04)), materials["magnet"], (0, 0, -1), True),
            (0, 0, 0.02),
        ),
        (
            make_body("small", Box((0.02, 0.02, 0.02)), materials["magnet"], (1, 0, 1)),
            (0.05, 0.03, -0.08),
        ),
        (
            make_body("plate", Box((0.04, 0.03, 0.01)), materials["iron"](300.0, 1.6)),
            (0.01, 0, -0.06),
        ),
        (make_body("ring", Ring(0.05, 0.02, 0.01), materials["iron"](100.0)), (-0.05, 0.02, -0.07)),
        (make_body("board", Box((0.5, 0.5, 0.02)), fixed=True), (0, 0, -0.2)),
    ]
    return make_system(rows, detail=60)


def test_rows_add_up_to_the_force_and_every_pair_obeys_the_third_law(crowd):
    report = force(crowd)
    between, x = report.between, crowd.start.pose.position
    scale = np.abs(report.force).max()
    assert between[:, :, :3].sum(axis=1) == pytest.approx(report.force, abs=1e-12 * scale)
    assert between[:, :, 3:].sum(axis=1) == pytest.approx(report.torque, abs=1e-12 * scale)
    for i in range(5):
        for j in range(i):
            back = between[j, i, 3:] + np.cross(x[j] - x[i], between[j, i, :3])
            assert between[i, j, :3] == pytest.approx(-between[j, i, :3], abs=1e-12 * scale)
            assert between[i, j, 3:] == pytest.approx(-back, abs=1e-12 * scale)
    assert not between[4].any()
    assert "board" not in force_summary(report)["between"]


def test_two_balls_apart_pull_as_dipoles(make_body, make_system, materials):
    """Two uniformly magnetised balls act as dipoles at any distance, exactly: coaxial
    F = 3 mu_0 m^2/(2 pi r^4), Griffiths, Introduction to Electrodynamics, 4th ed., problem 6.3
    (from memory); side by side they repel by half of that."""
    ball = make_body("one", Sphere(0.02), materials["magnet"], (0, 0, 1))
    moment = np.linalg.norm(ball.magnetisation) * ball.shape.volume
    for way, share in (((0, 0, 0.05), 1.0), ((0.05, 0, 0), -0.5)):
        system = make_system([(ball, (0, 0, 0)), (replace(ball, name="two"), way)])
        pull = force(system).between[0, 1, :3] @ np.array(way) / 0.05
        assert pull == pytest.approx(share * 3 * MU_0 * moment**2 / (2 * np.pi * 0.05**4), rel=1e-9)


def test_two_parts_under_a_pole_repel_side_by_side_and_attract_end_to_end(
    make_body, make_system, materials
):
    """Common practice, no source. Induced along the field both ways."""
    magnet = make_body("magnet", Box((0.2, 0.2, 0.04)), materials["magnet"], (0, 0, -1), True)
    iron = materials["iron"](300.0)
    part = make_body("one", Box((0.01, 0.01, 0.03)), iron)
    for aside, sign in (((0.02, 0, 0), 1.0), ((0, 0, -0.04), -1.0)):
        rows = [
            (magnet, (0, 0, 0.02)), (part, (0, 0, -0.06)),
            (replace(part, name="two"), np.array([0, 0, -0.06]) + aside),
        ]  # fmt: skip
        pull = force(make_system(rows, detail=60)).between[1, 2, :3]
        assert np.sign(pull @ -np.array(aside)) == sign


def test_along_a_way_the_shares_add_up_in_json_and_csv(crowd):
    found = force_along(crowd, "plate", (0, 0, 1), 0.03, 3, between=True).curve
    names = [b.name for b in crowd.bodies]
    along = along_summary("t", "plate", found, names)["along"]
    assert set(along["from"]) == {"big", "small", "ring"}
    total = sum(np.array(felt["force_N"]) for felt in along["from"].values())
    # solved to 3e-4 of the force (`look_around.TOLERANCE`), twice
    assert total == pytest.approx(np.array(along["force_N"]), abs=1e-3 * np.abs(total).max())
    assert "force x from ring [N]" in along_csv(found, names).split("\n", 1)[0]
