"""Rotations against SciPy's `scipy.spatial.transform.Rotation`."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from snapsim.numerics import rotation_kernels, rotations


@pytest.mark.parametrize("seed", range(20))
def test_the_vector_between_two_rotations_is_scipys(seed):
    """To 1e-14 rad, some hundred roundings of a unit quaternion."""
    origin, quaternion = rotations.normalise(np.random.default_rng(seed).normal(size=(2, 4)))
    there, here = (Rotation.from_quat(q, scalar_first=True) for q in (quaternion, origin))
    expected = (there * here.inv()).as_rotvec()
    np.testing.assert_allclose(rotations.vector_between(origin, quaternion), expected, atol=1e-14)


@pytest.mark.parametrize("angle", [0.0, 1e-13, 1e-9, 1e-3, 3.14, np.pi - 1e-9])
def test_small_turns_and_half_turns_between(angle):
    origin = rotations.normalise([0.3, -0.5, 0.7, 0.2])
    vector = angle * np.array([2.0, -1.0, 2.0]) / 3.0
    after = rotations.multiply(rotations.from_rotation_vector(vector), origin)
    for sign in (1.0, -1.0):
        found = rotations.vector_between(origin, sign * after)
        np.testing.assert_allclose(found, vector, rtol=1e-14, atol=1e-15)


def test_the_vector_between_turns_the_first_into_the_second():
    origin, quaternion = rotations.normalise([[1.0, 2.0, -1.0, 0.5], [0.2, 0.1, 0.9, -0.4]])
    turn = rotations.from_rotation_vector(rotations.vector_between(origin, quaternion))
    after = rotations.multiply(turn, origin)
    assert abs(after @ quaternion) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("seed", range(20))
def test_compiled_products_and_matrices_are_the_same_to_the_bit(seed):
    """What is read and what is computed with must not differ by a rounding."""
    a, b = rotations.normalise(np.random.default_rng(seed).normal(size=(2, 50, 4)))
    np.testing.assert_array_equal(rotations.multiply(a, b), rotation_kernels.products(a, b))
    np.testing.assert_array_equal(rotations.matrix(a), rotation_kernels.matrices(a))


def test_products_of_one_and_of_many():
    a, b = rotations.normalise(np.random.default_rng(1).normal(size=(2, 2, 5, 4)))
    whole = rotations.multiply(a[0, 0], b)
    assert whole.shape == (2, 5, 4)
    np.testing.assert_array_equal(whole[1, 2], rotations.multiply(a[0, 0], b[1, 2]))
    assert rotations.matrix(b).shape == (2, 5, 3, 3)
    np.testing.assert_array_equal(rotations.matrix(b)[1, 2], rotations.matrix(b[1, 2]))


@pytest.mark.parametrize("shape", [(3,), (1, 3), (40, 3)])
def test_cross_products_are_numpys_to_the_bit(shape):
    draw = np.random.default_rng(4)
    one, other = draw.normal(size=3), draw.normal(size=shape)
    np.testing.assert_array_equal(rotations.crossed(one, other), np.cross(one, other))
    np.testing.assert_array_equal(
        rotations.crossed(other, other[..., ::-1]), np.cross(other, other[..., ::-1])
    )
