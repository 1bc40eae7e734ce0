"""The small solver inside kernels, which leaves zeros out, against numpy's."""

import numpy as np
import pytest

from snapsim.mechanics.linear_system import solve_in_place


@pytest.mark.parametrize("size", [1, 3, 12, 60])
@pytest.mark.parametrize("band", [1, 5, 60])
def test_band_or_full_the_solution_is_numpys(size, band):
    r = np.random.default_rng(size + band)
    matrix, right = r.normal(size=(size, size)), r.normal(size=size)
    matrix[np.abs(np.subtract.outer(range(size), range(size))) > band] = 0.0
    found = right.copy()
    assert solve_in_place(matrix.copy(), found)
    # random matrices of 60 rows have conditions up to some 1e4
    np.testing.assert_allclose(found, np.linalg.solve(matrix, right), rtol=1e-9, atol=1e-9)


def test_a_singular_matrix_is_told():
    assert not solve_in_place(np.diag([1.0, 0.0, 2.0]), np.ones(3))
