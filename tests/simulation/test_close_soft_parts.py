"""Gaps between soft parts that the cells leave unresolved are said, others are not."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.analysis.summary import force_summary
from snapsim.constants import MU_0
from snapsim.landscape.force import force
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.run.release import release
from snapsim.simulation.close_soft_parts import saturation

DIAMETER = 0.02
EDGE_ON = rotations.from_axis_angle([1, 0, 0], np.pi / 4)


@pytest.fixture
def column(make_body, make_system, materials):
    """A weak or strong magnet far below or near two soft parts, one `gap` above the other."""

    def build(one, other, gap, height, saturating=1.9, turn=None, magnet_at=-0.4):
        grade = make_body("magnet", Cylinder(0.1, 0.05), materials["magnet"], (0, 0, 1), fixed=True)
        iron = materials["iron"](1000.0, saturating)
        lower = make_body("lower", one, iron, fixed=True)
        rows = [
            (grade, (0, 0, magnet_at)),
            (lower, (0, 0, 0)),
            (make_body("upper", other, iron), (0, 0, height + gap), turn),
        ]
        return make_system(rows, detail="draft", duration=2e-4)

    return build


BALL = Sphere(DIAMETER)
CUBE = Box((DIAMETER, DIAMETER, DIAMETER))


def test_two_unsaturated_balls_nearly_touching_are_named(column):
    """Their pull at a gap of 0.01 D is 37 % short of the series with 864 cells (references of
    `test_mutual`), so it must not go unsaid."""
    report = force(column(BALL, BALL, 0.01 * DIAMETER, DIAMETER))
    (found,) = report.close
    assert (found.first, found.second) == ("lower", "upper")
    assert found.gap == pytest.approx(0.01 * DIAMETER, rel=1e-6)
    # pi/6 D^3 in 64 to 200 cells of draft
    assert 0.1 * DIAMETER < found.cell < 0.25 * DIAMETER
    assert "lower" in force_summary(report)["warnings"][0]


def test_balls_a_cell_apart_are_not(column):
    report = force(column(BALL, BALL, 0.3 * DIAMETER, DIAMETER))
    assert report.close == ()
    assert "warnings" not in force_summary(report)


def test_what_saturates_bounds_what_is_missing(column):
    """By (B_s/B)^2 - 1: saturated balls' pull is found to 3 % (draft against 2 500 cells), which is
    not worth a word; that of linear ones has no bound."""
    near = column(BALL, BALL, 0.01 * DIAMETER, DIAMETER, saturating=0.1, magnet_at=-0.06)
    assert force(near).close == ()
    unsaturating = column(BALL, BALL, 0.01 * DIAMETER, DIAMETER, saturating=None, magnet_at=-0.06)
    (open_,) = force(unsaturating).close
    assert open_.crowding > 5


def test_a_block_on_edge_and_one_lying_flat_err_to_opposite_sides(column):
    """On edge 20 % short at 0.01 D, measured; flat faces pull too much, which no mesh shows (0.5 %
    between draft and 2 500 cells, 6 % of rings' pull against finite elements:
    `test_close_accuracy`)."""
    (flat,) = force(column(CUBE, CUBE, 1e-4, DIAMETER)).close
    assert flat.flat
    assert flat.alike
    on_edge = column(CUBE, CUBE, 1e-4, DIAMETER * (1 + 2**0.5) / 2, turn=EDGE_ON)
    (edge,) = force(on_edge).close
    assert not edge.flat


def test_a_run_keeps_the_least_resolved_gap(column):
    run = release(column(BALL, BALL, 0.05 * DIAMETER, DIAMETER))
    assert "come within" in run.accuracy["close_soft_parts"]
    apart = release(column(BALL, BALL, DIAMETER, DIAMETER))
    assert "close_soft_parts" not in apart.accuracy


def test_saturation_is_the_end_of_a_curve(make_body, materials):
    iron = materials["iron"]
    assert saturation(make_body("a", CUBE, iron(10.0, 1.9))) == pytest.approx(1.9 / MU_0)
    assert saturation(make_body("a", CUBE, iron(10.0))) == np.inf
    table = replace(
        iron(10.0).curve,
        susceptibility=None,
        field_strength=np.array([0.0, 1e5]),
        flux_density=np.array([0.0, 1.5]),
    )
    body = make_body("a", CUBE, replace(iron(10.0), curve=table))
    assert saturation(body) == pytest.approx(1.5 / MU_0 - 1e5)
