"""Small quadratic programs against all sets of binding rows and by their own conditions."""

from itertools import combinations

import numpy as np
import pytest

from snapsim.numerics.quadratic_program import least_distance, minimise


def program(seed, rows=8, equalities=1):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(6, 6))
    b = root @ root.T + 0.1 * np.eye(6)
    a, low = rng.normal(size=(rows, 6)), rng.normal(size=rows) - 1.0
    c, wanted = rng.normal(size=(equalities, 6)), 0.1 * rng.normal(size=equalities)
    return b, 3 * rng.normal(size=6), a, low, c, wanted


def by_enumeration(b, g, a, low, c, wanted):
    """The least value over the points that fulfil the conditions of each set of binding rows.

    Karush-Kuhn-Tucker conditions, Nocedal & Wright, Numerical Optimization, 2nd ed. 2006, eq. 16.37
    (from memory): with B positive definite the one point that meets them all is the minimum.
    """
    least = np.inf, None
    for count in range(len(g) - len(wanted) + 1):
        for chosen in combinations(range(len(low)), count):
            rows = np.vstack([c, a[list(chosen)]])
            corner = np.zeros((len(rows), len(rows)))
            system = np.block([[b, rows.T], [rows, corner]])
            right = np.concatenate([-g, wanted, low[list(chosen)]])
            d = np.linalg.solve(system, right)[: len(g)]
            value = g @ d + 0.5 * d @ b @ d
            if np.all(a @ d >= low - 1e-9) and value < least[0]:
                least = value, d
    return least


@pytest.mark.parametrize("seed", range(8))
def test_minimum_is_that_of_all_sets_of_binding_rows_and_meets_its_conditions(seed):
    """No other solver's verdict is asked: which of 163 sets bind is tried out."""
    b, g, a, low, c, wanted = program(seed)
    found = minimise(b, g, a, low, c, wanted)
    value, d = by_enumeration(b, g, a, low, c, wanted)
    # numbers of some 10 in systems of condition 1e3: twelve figures are left
    assert found.d == pytest.approx(d, abs=1e-10)
    assert g @ found.d + 0.5 * found.d @ b @ found.d == pytest.approx(value, rel=1e-11, abs=1e-11)
    assert np.all(a @ found.d >= low - 1e-10)
    assert c @ found.d == pytest.approx(wanted, abs=1e-10)
    assert found.multiplier.min() >= 0.0
    left = g + b @ found.d - a.T @ found.multiplier
    assert np.linalg.lstsq(c.T, left, rcond=None)[1] == pytest.approx(0.0, abs=1e-16)
    assert found.multiplier @ (a @ found.d - low) == pytest.approx(0.0, abs=1e-8)


def test_repeated_rows_share_and_change_nothing():
    b, g, a, low, c, wanted = program(3)
    once = minimise(b, g, a, low, c, wanted)
    twice = minimise(
        b, g, np.vstack([a, a]), np.concatenate([low, low]), np.vstack([c, c]),
        np.concatenate([wanted, wanted]),
    )  # fmt: skip
    assert twice.d == pytest.approx(once.d, abs=1e-9)


def test_contradicting_rows_have_no_solution():
    e = np.eye(6)[:1]
    nothing = np.zeros((0, 6))
    rows = np.vstack([e, -e])
    assert minimise(np.eye(6), np.zeros(6), rows, np.ones(2), nothing, np.zeros(0)) is None
    assert least_distance(rows, np.ones(2)) is None
