"""Small chances against limit states whose chance is known in closed form."""

import numpy as np
import pytest
from scipy import stats

from snapsim.study.subset_simulation import combined, subset_simulation


def _replicates(y, limit, dimensions, samples=500, replicates=16, levels=8):
    found = []
    for r in range(replicates):
        start = np.random.default_rng([7, r]).standard_normal((samples, dimensions))
        found.append(subset_simulation(start, limit, lambda k, n, z: y(z), (3, r), levels))
    return found


@pytest.mark.parametrize(
    ("reliability", "dimensions", "within"), [(2.0, 2, 0.05), (3.5, 6, 0.12), (4.5, 20, 0.14)]
)
def test_a_linear_limit_state_has_its_known_chance(reliability, dimensions, within):
    # y = sum z_i / sqrt(d) is standard normal, so P(y > beta) = Phi(-beta), in any dimension: the
    # example of Au and Beck 2001, sec. 6 (from memory)
    y = lambda z: z.sum(axis=1) / dimensions**0.5  # noqa: E731
    found = _replicates(y, reliability, dimensions, replicates=64)
    total = combined(found)
    known = stats.norm.sf(reliability)
    assert total.settled
    assert total.low < known < total.high
    # two standard errors of 64 replicates of 500, which scatter by 20, 47 and 53 %. Chains that
    # take every step miss by 28 to 88 %, steps that do not keep the normal distribution by 5 to 145
    assert total.chance == pytest.approx(known, rel=within)
    assert total.high / total.low < 1.5


def test_a_ball_of_scores_has_the_chance_of_chi_square():
    # |z|^2 of 4 standard normal scores is chi-square of 4 degrees of freedom
    found = combined(_replicates(lambda z: (z**2).sum(axis=1), 25.0, 4))
    assert found.low < stats.chi2.sf(25.0, 4) < found.high


def test_intervals_cover_the_known_chance_as_often_as_they_say():
    known, hits = stats.norm.sf(3.0), 0
    for trial in range(60):
        some = []
        for r in range(4):
            start = np.random.default_rng([trial, r]).standard_normal((200, 2))
            some.append(subset_simulation(start, 3.0, lambda k, n, z: z[:, 0], (trial, r)))
        found = combined(some)
        hits += found.low < known < found.high
    # 95 % of 60 is 57; the binomial distribution is below 52 in 1.3 % of cases. Student's t of
    # four logarithms and the estimator's own small bias leave it near that
    assert hits >= 52


@pytest.mark.parametrize("count", [4, 16])
def test_the_upper_end_is_not_below_the_known_chance_too_often(count):
    """It should be in 2.5 %; more than 8 of 100 come about by luck in a thousandth of cases. About
    the mean of the logarithms, which is too low, the interval failed so with 16 replicates in 16 %,
    and the more of them the oftener."""
    known, below = stats.norm.sf(3.0), 0
    for trial in range(100):
        some = []
        for r in range(count):
            start = np.random.default_rng([9, trial, r]).standard_normal((200, 2))
            some.append(subset_simulation(start, 3.0, lambda k, n, z: z[:, 0], (4, trial, r)))
        below += combined(some).high < known
    assert below <= 8


def test_a_chance_that_is_not_small_needs_one_level():
    found = _replicates(lambda z: z[:, 0], 0.0, 2, replicates=2)
    assert all(len(r.shares) == 1 for r in found)
    assert combined(found).chance == pytest.approx(0.5, abs=0.06)


def test_an_event_that_never_happens_is_not_settled_and_only_bounded():
    flat = _replicates(lambda z: np.zeros(len(z)), 1.0, 2, replicates=2)
    assert not any(r.settled for r in flat)
    total = combined(flat)
    assert not total.settled
    assert total.low == 0
    assert total.chance == pytest.approx(1 / 500)
    short = _replicates(lambda z: z[:, 0], 7.0, 2, replicates=2, levels=3)
    assert not any(r.settled for r in short)
    assert max(r.chance for r in short) < 1e-3


def test_runs_without_a_value_count_as_far_from_the_event():
    """Half of the space gives nothing: the chance is half of that of the rest."""

    def y(z):
        return np.where(z[:, 1] > 0, z[:, 0], -np.inf)

    found = combined(_replicates(y, 3.0, 2))
    assert found.low < 0.5 * stats.norm.sf(3.0) < found.high
