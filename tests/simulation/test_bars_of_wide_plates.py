"""A magnet over a wide thick plate of high permeability: its mirror magnet, within the stated bar.

The truth: tests/references/finite_element_plates.json, made by the script of that name with
axisymmetric finite elements, which share no code and no method with snapsim, and beside it the
closed form of a half space. No constant of the bars was chosen by these cases;
`continuous_normal.LEAST_STIFFNESS` was, for forces by the four points a cell of a release.
"""

import json
from pathlib import Path

import pytest
from test_bars_near_a_pole import drawn

from snapsim.landscape.force import force
from snapsim.scenario.advice import advice
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.refinement import EXPECTED

RECORD = Path(__file__).parents[1] / "references" / "finite_element_plates.json"


def cases(first, last):
    every = json.loads(RECORD.read_text())["cases"]
    return [case for case in every if first <= case["seed"] < last]


def test_the_references_pull_less_than_the_half_space_and_nearly_as_much():
    """A plate can't pull more than the half space that it is a part of (0.1 % for the finite
    elements); from five magnets wide, no farther off than the magnet is wide, within 3 %."""
    for case in cases(0, 99):
        (pull,), (plate,) = case["force"], case["parts"]
        assert pull < 1.001 * case["mirror"]
        radius = case["magnet"]["radius"]
        if plate["outer_radius"] > 5 * radius and case["gaps"][0] < 2 * radius:
            assert pull > 0.97 * case["mirror"]


@pytest.mark.parametrize(
    ("detail", "first", "last"),
    [
        ("draft", 0, 8),
        pytest.param("draft", 8, 16, marks=pytest.mark.slow),
        pytest.param("normal", 0, 16, marks=pytest.mark.longer),
    ],
)
def test_the_mirror_magnets_pull_is_within_the_bar(detail, first, last):
    outside = []
    for case in cases(first, last):
        system = drawn(case, detail)
        found = PoseAccuracy(system).at(system.start.pose)
        own = abs(case["coarse"][0] - case["force"][0])
        error = abs(found.force.value[1, 2] - case["force"][0]) - own
        if error > found.force.error[1]:
            outside.append((case["seed"], error, found.force.error[1]))
    assert not outside


@pytest.mark.parametrize("seed", [7, 10])
def test_four_points_a_cell_do_not_make_a_plate_pull_many_times_too_hard(seed):
    """A magnet 1 and 7 mm above cells of 20 to 30 mm: five and fifteen times too hard before."""
    (case,) = cases(seed, seed + 1)
    found = force(drawn(case, "draft")).force[1, 2]
    assert 0.3 * case["force"][0] < found < 3.5 * case["force"][0]


def test_where_cells_err_by_more_than_check_expects_it_says_so():
    """Of 16 plates some pull up to three times too hard at draft: each is warned of beforehand,
    and a plate of as many cells under a magnet as wide as itself is not."""
    wrong = 0
    for case in cases(0, 16):
        system = drawn(case, "draft")
        found = force(system).force[1, 2]
        if abs(found / case["force"][0] - 1) > EXPECTED["draft"][0]:
            wrong += 1
            assert any("wide against a magnet" in said for said in advice(system)), case["seed"]
    assert wrong > 2
    alike = {**case, "magnet": {**case["magnet"], "radius": case["parts"][0]["outer_radius"]}}
    assert not any("wide against a magnet" in said for said in advice(drawn(alike, "draft")))
