"""A fitted remanence's interval holds the truth although the footage had finer cells.

`python tests/footage/fit/remanence_family.py FIRST LAST` prints any cases. The suite takes one, a
ball; `--longer` takes 40.
"""

import pytest
from remanence_family import filming, fitted

FIRST, LAST = 0, 40


def test_the_interval_of_one_case_holds_the_truth_of_finer_cells(tmp_path):
    found = fitted(filming(14), None, tmp_path)
    assert found.holds
    assert found.high - found.low < 0.05  # T: 13 mT of the cells to either side, and the noise


@pytest.mark.longer
def test_intervals_of_95_percent_hold_the_truth_of_finer_cells_in_nine_of_ten(tmp_path):
    found = [fitted(filming(seed), None, tmp_path) for seed in range(FIRST, LAST)]
    assert sum(one.holds for one in found) >= 0.9 * len(found)
