"""Steps of Runge-Kutta pairs against scipy's solvers, which hold the same coefficients."""

import numpy as np
import pytest
from scipy.integrate import DOP853, RK45

from snapsim.numerics.runge_kutta import EIGHTH, FIFTH, Integration


def swing(time, y):
    """A pendulum that is driven."""
    return np.array([y[1], -np.sin(y[0]) + 0.3 * np.cos(2 * time)])


@pytest.mark.parametrize(("pair", "solver"), [(FIFTH, RK45), (EIGHTH, DOP853)])
@pytest.mark.parametrize("longest", [np.inf, 0.05])
@pytest.mark.parametrize("first", [None, 0.01])
def test_steps_are_those_of_scipy(pair, solver, longest, first):
    absolute = np.array([1e-8, 1e-7])
    ours = Integration(swing, pair, 1e-6, absolute, 5.0)
    theirs = solver(
        swing, 0.0, np.array([1.0, 0.5]), 5.0, longest, 1e-6, absolute, first_step=first
    )
    last = ours.start(0.0, np.array([1.0, 0.5]), first)
    while theirs.status == "running":
        theirs.step()
        last = ours.step(last, longest)
        assert last.end == theirs.t
        np.testing.assert_array_equal(last.after, theirs.y)
        between = last.begin + np.array([0.2, 0.7]) * (last.end - last.begin)
        np.testing.assert_array_equal(last.at(between), theirs.dense_output()(between).T)
    assert last.end == 5.0


def test_a_rate_that_is_not_finite_ends_in_no_step():
    def broken(time, y):
        return np.full(1, np.nan)

    whole = Integration(broken, FIFTH, 1e-6, np.array([1e-8]), 1.0)
    assert whole.step(whole.start(0.0, np.zeros(1), 0.1), np.inf) is None
