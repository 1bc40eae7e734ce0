"""Small quadratic programs against a general optimiser and by their own conditions."""

import numpy as np
import pytest
from scipy.optimize import minimize

from snapsim.numerics.quadratic_program import least_distance, minimise


def program(seed, rows=8, equalities=1):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(6, 6))
    b = root @ root.T + 0.1 * np.eye(6)
    a, low = rng.normal(size=(rows, 6)), rng.normal(size=rows) - 1.0
    c, wanted = rng.normal(size=(equalities, 6)), 0.1 * rng.normal(size=equalities)
    return b, 3 * rng.normal(size=6), a, low, c, wanted


@pytest.mark.parametrize("seed", range(8))
def test_minimum_agrees_with_slsqp(seed):
    """scipy's SLSQP on the same problem; its own tolerance is what limits the agreement."""
    b, g, a, low, c, wanted = program(seed)
    found = minimise(b, g, a, low, c, wanted)
    other = minimize(
        lambda d: g @ d + 0.5 * d @ b @ d,
        np.zeros(6),
        jac=lambda d: g + b @ d,
        method="SLSQP",
        constraints=[
            {"type": "ineq", "fun": lambda d: a @ d - low, "jac": lambda d: a},
            {"type": "eq", "fun": lambda d: c @ d - wanted, "jac": lambda d: c},
        ],
        options={"ftol": 1e-14, "maxiter": 300},
    )
    assert other.success
    assert found.d == pytest.approx(other.x, abs=2e-5)
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
