"""The error of the cells stands in the intervals of a fit."""

from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.footage.fit.fitting import cell_error, finishing, widened
from snapsim.footage.fit.profile import Interval, Intervals
from snapsim.footage.fit.unknowns import Unknown

REMANENCE = Unknown("material.magnet.remanence", 1.0, 1.5, "T")
FRICTION = Unknown("contact.friction", 0.0, 1.0, "")


def predictor(detail, cells=True):
    both = (REMANENCE, FRICTION)
    return SimpleNamespace(detail=detail, has_cells=cells, unknowns=both)


def test_the_last_step_to_finer_cells_is_how_far_the_rest_may_move_it():
    searched, found = np.array([0.70, 0.3]), np.array([0.60, 0.32])
    both = (REMANENCE, FRICTION)
    # 0.1 of 0.5 T is more than half of 2 % of 1.3 T
    error = cell_error(both, predictor("normal"), searched, found)
    assert error == pytest.approx([0.1, 0.02])


def test_with_the_same_cells_a_remanence_is_off_by_half_of_what_forces_are():
    same = np.array([0.7, 0.3])
    error = cell_error((REMANENCE, FRICTION), predictor("draft"), same, same)
    assert error[0] == pytest.approx(0.5 * 0.05 * 1.35 / 0.5)  # 34 mT of 1.35 T
    assert np.isnan(error[1])
    assert cell_error((REMANENCE,), predictor("draft", False), same[:1], same[:1]) == 0.0


def test_intervals_are_wider_by_it_and_stay_within_the_bounds():
    narrow = Intervals(
        (Interval(0.69, 0.71, False, False, True), Interval(0.02, 0.4, False, False, True)),
        np.eye(2), np.ones(2), None,
    )  # fmt: skip
    wide = widened(narrow, np.array([0.07, 0.05])).intervals
    assert [(i.low, i.high) for i in wide] == [
        pytest.approx((0.62, 0.78)),
        pytest.approx((0.0, 0.45)),
    ]
    assert widened(narrow, np.array([np.nan, 0.0])) == narrow


def test_a_bar_of_the_force_that_is_wider_than_usual_counts():
    """A wide plate near a magnet may be several times off; half of that goes into remanence."""
    same = np.array([0.7])
    usual = cell_error((REMANENCE,), predictor("draft"), same, same, 0.01)
    assert usual == pytest.approx([0.5 * 0.05 * 1.35 / 0.5])
    wide = cell_error((REMANENCE,), predictor("draft"), same, same, 0.4)
    assert wide == pytest.approx([0.5 * 0.4 * 1.35 / 0.5])


@pytest.mark.parametrize(
    ("own", "error", "taken"),
    # the cells blur remanence by 0.0675 of its bounds at draft, friction by nobody knows what
    [
        ("draft", (0.002, 0.5), "normal"),
        ("draft", (0.5, 0.5), "normal"),
        ("normal", (0.002, 0.5), "normal"),
        ("fine", (0.002, 0.5), "fine"),
    ],
)
def test_a_scene_with_the_cells_of_the_search_ends_with_finer_ones(own, error, taken):
    """Of a search with draft cells, and standard errors of remanence and friction as given."""
    slopes = np.diag(1 / np.array(error)).repeat(200, axis=0) / np.sqrt(200)
    z = np.tile([0.5, -0.5], 200)
    solved = SimpleNamespace(slopes=slopes, z=z, x=np.array([0.7, 0.3]))
    fitted = SimpleNamespace(solved=solved, shares=solved.x)
    assert finishing(fitted, predictor("draft"), own) == taken


def test_tracks_that_tell_less_than_the_cells_blur_need_no_finer_ones():
    slopes = np.full((400, 1), 1 / 0.5 / 20)
    solved = SimpleNamespace(slopes=slopes, z=np.tile([0.5, -0.5], 200), x=np.array([0.7]))
    fitted = SimpleNamespace(solved=solved, shares=solved.x)
    alone = SimpleNamespace(detail="draft", has_cells=True, unknowns=(REMANENCE,))
    assert finishing(fitted, alone, "draft") == "draft"
    assert finishing(fitted, SimpleNamespace(detail="draft", has_cells=False), "draft") == "draft"
