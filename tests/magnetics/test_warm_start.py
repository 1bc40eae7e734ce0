"""The first guess: mixtures of earlier solutions."""

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.magnetics.warm_start import LARGEST, Solution, mixed, mixture

RNG = np.random.default_rng(11)
VOLUME = RNG.uniform(1, 2, 20)
MODES = RNG.normal(size=(3, 20, 3))


def solution(load: Array) -> Solution:
    return Solution(load, 2 * load, 3 * load)


def at(t: float) -> Array:
    out: Array = MODES[0] + t * MODES[1] + t * t * MODES[2]
    return out


def test_weights_along_a_parabola_are_those_of_quadratic_extrapolation() -> None:
    # Lagrange: f(3) = 3 f(2) - 3 f(1) + f(0) for a parabola (Abramowitz & Stegun 25.2.1).
    known = tuple(solution(at(t)) for t in (2.0, 1.0, 0.0))
    weights = mixture(at(3.0), VOLUME, known, 1e-12)
    assert weights == pytest.approx([3.0, -3.0, 1.0], abs=1e-5)
    assert mixed(weights, [one.m for one in known]) == pytest.approx(3 * at(3.0), rel=1e-4)


def test_weights_add_up_to_one_and_a_lone_solution_is_taken_as_it_is() -> None:
    known = tuple(solution(at(t)) for t in (2.0, 1.0, 0.0))
    assert mixture(at(9.0), VOLUME, known[:1], 1e-5) == pytest.approx([1.0])
    assert mixture(at(2.3), VOLUME, known, 1e-3).sum() == pytest.approx(1.0, abs=1e-12)


def test_loose_solutions_and_useless_ones_get_tame_weights() -> None:
    known = tuple(solution(at(t)) for t in (2.0, 1.9, 1.8))
    loose, tight = (np.abs(mixture(at(2.1), VOLUME, known, t)).sum() for t in (1.0, 1e-12))
    assert tight == pytest.approx(7.0, rel=1e-3)  # 3, -3, 1
    assert loose < 4.0
    close = tuple(solution(at(t)) for t in (2.0, 1.999, 1.998))
    assert mixture(at(2.1), VOLUME, close, 1e-14) == pytest.approx([1.0, 0.0, 0.0])
    same = (known[0], known[0], solution(np.full((20, 3), np.nan)))
    assert mixture(at(2.01), VOLUME, same, 1e-5) == pytest.approx([1.0, 0.0, 0.0])


def test_the_same_solution_twice_in_large_numbers_gives_finite_weights():
    """Equal loads make the normal equations singular where rounding swallows the ridge."""
    load, volume = np.full((2, 3), 1.0), np.ones(2)
    first = Solution(np.zeros((2, 3)), load, load)
    twin = Solution(1e9 * load, load, load)
    weights = mixture(load, volume, (first, twin, twin, twin), 1e-30)
    assert np.isfinite(weights).all()
    assert weights.sum() == pytest.approx(1.0)


def test_where_weights_would_be_too_large_the_ridge_is_raised_instead_of_giving_up() -> None:
    # three loads all but alike and one a little further on: extrapolated without a ridge by
    # Lagrange's weights of hundreds, tamed they still come nearer than the newest load alone
    known = tuple(solution(at(t)) for t in (2.0, 1.99, 1.98))
    weights = mixture(at(2.2), VOLUME, known, 1e-12)
    assert weights.sum() == pytest.approx(1.0, abs=1e-9)
    assert 1.0 < np.abs(weights).sum() <= 2 * LARGEST + 1
    nearest = np.linalg.norm(at(2.2) - known[0].load)
    found = np.linalg.norm(at(2.2) - mixed(weights, [one.load for one in known]))
    assert found < 0.5 * nearest
