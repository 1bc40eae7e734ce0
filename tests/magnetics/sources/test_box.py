"""Box magnets against a closed form in 40 digits, a general library and an axial formula."""

import magpylib
import mpmath
import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.magnetics.sources import source_for
from snapsim.parts.shapes import Box

BLOCK, PLATE = Box((0.04, 0.02, 0.01)), Box((0.02, 0.02, 0.001))
OBLIQUE = np.array([3e5, -7e5, 2e5])


def corner_sums(shape: Box, x: np.ndarray, m: np.ndarray, digits: int = 40) -> np.ndarray:
    """H by the sums of logarithms and arctangents over the eight corners, in `digits` digits.

    Engel-Herbert & Hesjedal, J. Appl. Phys. 97, 074504 (2005), eqs. (5)-(7) (from memory).
    """
    with mpmath.workdps(digits):
        u = mpmath.zeros(3, 3)
        for bits in np.ndindex(2, 2, 2):
            d = [
                mpmath.mpf(float(xi)) + (2 * b - 1) * mpmath.mpf(float(s)) / 2
                for xi, b, s in zip(x, bits, shape.size, strict=True)
            ]
            sign = (-1) ** (sum(bits) + 1)
            r = mpmath.sqrt(sum(v * v for v in d))
            for i in range(3):
                j, k = (i + 1) % 3, (i + 2) % 3
                u[i, i] -= sign * mpmath.atan(d[j] * d[k] / (d[i] * r))
                u[j, k] += sign * mpmath.log(r + d[i])
                u[k, j] = u[j, k]
        h = u * mpmath.matrix(m.tolist()) / (4 * mpmath.pi)
        return np.array([float(v) for v in h])


@pytest.mark.parametrize("shape", [BLOCK, PLATE])
@pytest.mark.parametrize(
    ("distance", "tolerance"), [(0.6, 3e-14), (1, 3e-14), (3, 3e-13), (10, 3e-12), (100, 3e-10)]
)
def test_field_keeps_its_digits_near_and_far(shape: Box, distance: float, tolerance: float) -> None:
    """Distance in largest sizes. Rounding grows as its square: tolerance 2-6 times the measured
    worst of the plate 1:20, which is the harder of the two."""
    rng = np.random.default_rng(3)
    directions = rng.normal(size=(25, 3))
    points = directions / np.linalg.norm(directions, axis=1)[:, None] * distance * max(shape.size)
    field = source_for(shape).field(points, OBLIQUE)
    for x, h in zip(points, field, strict=True):
        expected = corner_sums(shape, x, OBLIQUE)
        assert np.linalg.norm(h - expected) < tolerance * np.linalg.norm(expected)


def test_field_close_to_edges_agrees_with_forty_digits() -> None:
    """At 1e-3 to 1e-8 sizes from the middle of an edge, from a corner and beyond an edge's end;
    1e-9 is what a point's own rounding (1e-16 of 1e-8 sizes) allows, with a margin of ten."""
    source = source_for(BLOCK)
    half = np.array(BLOCK.size) / 2
    for gap in (1e-3, 1e-5, 1e-8):
        step = gap * np.array([0.7, 1.0, -0.6]) * 0.04
        for base in (half * [1, 1, 0.3], half, half * [1, 1, 1.5], half * [-1, 0.2, 1]):
            x = base + step
            expected = corner_sums(BLOCK, x, OBLIQUE, digits=60)
            error = np.linalg.norm(source.field(x, OBLIQUE)[0] - expected)
            assert error < 1e-9 * np.linalg.norm(expected)


@pytest.mark.parametrize("shape", [BLOCK, PLATE])
@pytest.mark.parametrize("m", [(0.0, 0.0, 1e6), (1e6, 0.0, 0.0), tuple(OBLIQUE)])
def test_field_agrees_with_magpylib(shape: Box, m: tuple[float, float, float]) -> None:
    """magpylib 6.3 Cuboid.getH (Yang 1990 / Engel-Herbert forms), inside and to 5 sizes away;
    1e-9 leaves room for its own loss of digits, which grows as distance cubed."""
    rng = np.random.default_rng(1)
    near = rng.uniform(-1.3, 1.3, (300, 3)) * shape.extents
    far = rng.uniform(-5, 5, (300, 3)) * max(shape.size)
    points = np.concatenate([near, far])
    expected = magpylib.magnet.Cuboid(magnetization=m, dimension=shape.size).getH(points)
    error = np.linalg.norm(source_for(shape).field(points, m) - expected, axis=1)
    assert np.all(error < 1e-9 * np.linalg.norm(expected, axis=1))


@pytest.mark.parametrize(
    ("z", "expected"),
    [(0.001, 0.467621053), (0.01, 0.320647263), (0.1, 0.00940936561), (0.5, 0.000106766885)],
)
def test_flux_density_on_the_axis_of_a_block(z: float, expected: float) -> None:
    """Block 50x50x25 mm, Br = 1.45 T, at z above the pole: B = Br/pi [T(z) - T(z + L)],
    T(s) = atan(a b/(2 s sqrt(4 s^2 + a^2 + b^2))) (trade formula; values computed from it to nine
    digits, hence 3e-9)."""
    h = source_for(Box((0.05, 0.05, 0.025))).field([0, 0, 0.0125 + z], [0, 0, 1.45 / MU_0])
    assert MU_0 * h[0, 2] == pytest.approx(expected, rel=3e-9)


def test_edges_corners_and_faces_give_finite_fields() -> None:
    """No nan or inf anywhere on the surface or on the continuation of an edge."""
    half = np.array(BLOCK.size) / 2
    grid = np.stack(np.meshgrid(*[[-2, -1, 0, 0.5, 1, 3]] * 3), axis=-1).reshape(-1, 3) * half
    h, g = source_for(BLOCK).field_and_gradient(grid, OBLIQUE)
    assert np.all(np.isfinite(h))
    assert np.all(np.isfinite(g))


def test_a_point_on_a_face_counts_as_outside() -> None:
    source, m = source_for(BLOCK), np.array([0.0, 0.0, 1e6])
    above, below = (
        source.field([0.003, 0.002, z], m)[0, 2] for z in (0.005 + 1e-12, 0.005 - 1e-12)
    )
    assert above - below == pytest.approx(1e6, rel=1e-6)
    for z, expected in ((0.005, above), (-0.005, above)):
        assert source.field([0.003, 0.002, z], m)[0, 2] == pytest.approx(expected, rel=1e-6)
