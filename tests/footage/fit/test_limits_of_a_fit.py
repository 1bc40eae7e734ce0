"""What a fit says of its own limits: where motion turns too wild, what cannot be told apart."""

import numpy as np
import pytest
from closed_forms import ClosedForm

from snapsim.footage.fit.fitting import with_intervals
from snapsim.footage.fit.profile import covariance
from snapsim.footage.fit.staged import Settings, refined, staged_fit

TIME = np.arange(0, 1, 1 / 120)


def fit(places, low, high, true, blow=lambda values: np.inf, seed=1, noise=1.0):
    low, high, true = (np.array(v, float) for v in (low, high, true))
    tracked = places(true, TIME) + noise * np.random.default_rng(seed).standard_normal(
        (len(TIME), 2)
    )
    predictor = ClosedForm(places, low, high, TIME, tracked, blow)
    fitted = staged_fit(predictor, Settings(8, 1, noise, float(TIME[-1])))
    return predictor, *with_intervals(fitted, 0.95)


def test_two_that_act_only_as_a_product_are_found_to_be_traded():
    def places(values, times):
        pull = 400 * values[0] * values[1] * times**2
        return np.stack([pull, 0 * pull], axis=1)

    _, fitted, found = fit(places, [0.5, 0.5], [2, 2], [1.0, 1.2])
    assert abs(found.correlation[0, 1]) > 0.95
    product = np.prod(0.5 + 1.5 * fitted.shares)
    assert product == pytest.approx(1.2, rel=0.01)
    assert all(i.high - i.low > 0.3 for i in found.intervals)  # each alone is hardly known


def test_an_unknown_that_moves_nothing_is_open_on_both_sides():
    def places(values, times):
        return np.stack([300 * values[0] * times, 0 * times], axis=1)

    _, _, found = fit(places, [0.5, 0], [2, 1], [1.0, 0.3])
    ends = [(i.open_low, i.open_high) for i in found.intervals]
    assert ends == [(False, False), (True, True)]


def test_a_motion_that_turns_wild_is_fitted_only_as_far_as_it_answers_in_proportion():
    # After the blow at 0.2 s an angle runs away by 14 in each 0.1 s, as on a pinball table.
    def places(values, times):
        since = np.maximum(times - 0.2, 0)
        wild = np.sin(3 + (values[1] - 0.5) * np.exp(26 * since)) - np.sin(3)
        return np.stack([300 * values[0] * times, 200 * wild], axis=1)

    predictor, fitted, found = fit(
        places, [0.5, 0.4], [2, 0.6], [1.0, 0.507], blow=lambda values: 0.2
    )
    # noise over 200 px is 0.005; the angle is 1 where exp(26 s) x 0.007 is: 0.19 s after the blow
    assert 0.3 < fitted.until < 0.75
    low, high = predictor.low[1], predictor.high[1]
    ends = [low + (high - low) * e for e in (found.intervals[1].low, found.intervals[1].high)]
    assert ends[0] < 0.507 < ends[1]


def test_profile_ends_of_a_straight_problem_are_those_of_students_t():
    # For a motion linear in its unknowns the profile is exact: estimate +- t s sqrt(C_kk)
    # (Bates and Watts, Nonlinear Regression Analysis, section 1.2, from memory).
    def places(values, times):
        return np.stack([values[0] * times, values[1] * times + 40 * values[2]], axis=1)

    from scipy import stats

    _, fitted, found = fit(places, [0, 0, -1], [200, 200, 1], [100, 80, 0.2], seed=4)
    wide = stats.t.ppf(0.975, 2 * len(TIME) - 3) * np.sqrt(np.diag(covariance(fitted.solved)))
    for k, interval in enumerate(found.intervals):
        middle = fitted.shares[k]
        assert interval.high - middle == pytest.approx(wide[k], rel=0.08)
        assert middle - interval.low == pytest.approx(wide[k], rel=0.08)
    times = np.concatenate([TIME, TIME])
    assert len(times) == 2 * len(TIME)
    exact = 1.0 / np.sqrt(np.sum(TIME**2)) / 200  # of the slope across, a share of 200
    assert found.error[0] == pytest.approx(exact, rel=0.12)


def test_the_best_of_many_starts_is_found_among_false_minima():
    # A swing of unknown rate: hundreds of rates fit a few beats and no more.
    def places(values, times):
        return np.stack([100 * np.sin(values[0] * times), 100 * np.cos(values[0] * times)], axis=1)

    low, high, true = np.array([10.0]), np.array([60.0]), np.array([41.3])
    tracked = places(true, TIME) + np.random.default_rng(1).standard_normal((len(TIME), 2))
    predictor = ClosedForm(places, low, high, TIME, tracked)
    fitted = staged_fit(predictor, Settings(64, 1, 1.0, 1.0))
    assert low[0] + 50 * fitted.shares[0] == pytest.approx(41.3, abs=0.05)


def test_a_fit_goes_on_with_a_finer_model_to_that_models_values():
    # As coarse cells pull 3 % too hard: the truth is what the finer model needs, not the coarse.
    def places(values, times, pull=1.0):
        z = 200 * pull * values[0] * np.minimum(times, 0.5) ** 2
        back = 150 * values[1] * np.maximum(times - 0.5, 0)
        return np.stack([z - back, 0 * z], axis=1)

    def coarse(values, times):
        return places(values, times, 1.03)

    tracked = places(np.array([1.1, 0.3]), TIME)
    tracked = tracked + np.random.default_rng(2).standard_normal(tracked.shape)
    bounds = np.array([0.5, 0.0]), np.array([2.0, 1.0])
    settings = Settings(8, 1, 1.0, float(TIME[-1]))
    rough, fine = (
        ClosedForm(f, *bounds, TIME, tracked, lambda values: 0.5) for f in (coarse, places)
    )
    first = staged_fit(rough, settings)
    assert rough.values(first.shares)[0] == pytest.approx(1.1 / 1.03, rel=0.01)
    fitted, found = with_intervals(refined(first, fine, settings), 0.95)
    ends = [fine.values(np.array([getattr(i, side) for i in found.intervals]))
            for side in ("low", "high")]  # fmt: skip
    assert (ends[0] < [1.1, 0.3]).all()
    assert (ends[1] > [1.1, 0.3]).all()
    assert fine.asked < rough.asked
    assert fitted.noise == pytest.approx(1, rel=0.15)
