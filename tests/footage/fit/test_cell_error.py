"""The error of the cells stands in the intervals of a fit."""

from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.footage.fit.fitting import cell_error, widened
from snapsim.footage.fit.profile import Interval, Intervals
from snapsim.footage.fit.unknowns import Unknown

REMANENCE = Unknown("material.magnet.remanence", 1.0, 1.5, "T")
FRICTION = Unknown("contact.friction", 0.0, 1.0, "")


def predictor(detail, cells=True):
    return SimpleNamespace(detail=detail, has_cells=cells)


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
