"""The demagnetising operator against published factors, and against itself without symmetry."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j1

from snapsim.errors import ComputationError
from snapsim.magnetics.cells import box, cylinder, mesh, ring
from snapsim.magnetics.cells.reflection import reflected
from snapsim.magnetics.demagnetization import demagnetizing_operator
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere

SHAPES = {
    "box": Box((0.03, 0.02, 0.01)),
    "plate": Box((1.0, 0.9, 0.01)),
    "cylinder": Cylinder(0.02, 0.03),
    "ring": Ring(0.11, 0.026, 0.018),
    "hex_nut": HexNut(0.03, 0.016, 0.013),
    "sphere": Sphere(0.05),
}


def factor(operator, axis):
    """Mean of N e . e over the body for uniform magnetisation e along an axis."""
    cells = len(operator.blocks) * len(operator.volume)
    along = np.zeros((cells, 3))
    along[:, axis] = 1.0
    volume = np.tile(operator.volume, len(operator.blocks))
    return volume @ operator.apply(along)[:, axis] / volume.sum()


def annular_factor(outer, inner, length):
    """Axial factor at uniform M of a ring: the energy of its two charged end faces.

    A disc of radius a and unit charge has the potential 1/2 a integral J1(ka) J0(k rho)
    exp(-k|z|) dk/k (Jackson, Classical Electrodynamics, 3rd ed., section 3.11 and problem 3.13;
    from memory); integrated over discs a distance L apart, less the bore.
    """

    def integrand(k):
        return ((outer * j1(k * outer) - inner * j1(k * inner)) / k) ** 2 * -np.expm1(-k * length)

    edges = np.concatenate([np.arange(0, 200, 2.0), np.geomspace(200, 4000, 60)]) / outer
    edges[0] = 1e-9
    total = sum(quad(integrand, a, b, limit=400)[0] for a, b in pairwise(edges))
    # beyond: J1^2 averages to 1/(pi k r), its product of two radii to 0
    total += (outer + inner) / (2 * np.pi * edges[-1] ** 2)
    return 2 * np.pi * total / (np.pi * (outer**2 - inner**2) * length)


@pytest.mark.parametrize(
    ("size", "published"),
    [
        ((1, 1, 1), 0.3333333333),
        ((1, 1, 2), 0.1983161528),
        ((1, 1, 0.1), 0.8050776336),
        ((3, 2, 1), 0.5387903059),
        ((1, 1, 20), 0.0232623285),
        ((50, 25, 1), 0.9188134348),
    ],
)
def test_a_uniform_prism_has_aharonis_factor(size, published):
    # Aharoni, J. Appl. Phys. 83, 3432 (1998), eq. 1, evaluated; formula from memory. Faces are
    # exact, so only the quadrature's error is left
    found = factor(demagnetizing_operator(mesh(Box(size), 100)), 2)
    assert found == pytest.approx(published, abs=5e-7)


@pytest.mark.parametrize(
    ("ratio", "axial"),
    [(0.1, 0.7966764825), (1, 0.3115773927), (5, 0.0799073292)],
)
def test_a_uniform_cylinder_has_josephs_factor(ratio, axial):
    # Joseph, J. Appl. Phys. 37, 4639 (1966); Chen, Brug & Goldfarb, IEEE Trans. Magn. 27, 3601
    # (1991): 1 less Nagaoka's coefficient. Closed form evaluated, from memory. The rim is a polygon
    # of equal area: 16, 32, 64 chords err by 6e-4, 6e-5, 5e-6 at most (measured)
    assert annular_factor(0.5, 0.0, ratio) == pytest.approx(axial, rel=1e-6)
    operator = demagnetizing_operator(reflected(*cylinder.octant(Cylinder(1, ratio), (8, 1, 1))))
    assert factor(operator, 2) == pytest.approx(axial, rel=1e-5)
    assert factor(operator, 0) == pytest.approx((1 - axial) / 2, rel=1e-5)
    assert factor(operator, 1) == pytest.approx((1 - axial) / 2, rel=1e-5)


def test_a_uniform_ring_has_the_factor_of_its_charged_end_faces():
    # closed form as above; the same tolerance for the same reason, 64 chords
    shape = SHAPES["ring"]
    exact = annular_factor(shape.outer_diameter / 2, shape.inner_diameter / 2, shape.length)
    operator = demagnetizing_operator(reflected(*ring.octant(shape, (1, 16, 1))))
    found = [factor(operator, axis) for axis in range(3)]
    assert found == pytest.approx([(1 - exact) / 2, (1 - exact) / 2, exact], rel=1e-5)


def test_a_uniform_ball_has_a_third_in_every_direction():
    # Stoner 1945, Osborn 1945: 1/3; holds for any body of cubic symmetry, so on the coarse mesh
    operator = demagnetizing_operator(mesh(SHAPES["sphere"], 300))
    assert [factor(operator, axis) for axis in range(3)] == pytest.approx([1 / 3] * 3, abs=1e-4)


@pytest.mark.parametrize("name", SHAPES)
def test_factors_add_up_to_one(name):
    # trace of the point tensor is 1 inside (Brown 1962, from memory): quadrature error only; the
    # plate's cells are 20 times as wide as thick
    operator = demagnetizing_operator(mesh(SHAPES[name], 200))
    total = sum(factor(operator, axis) for axis in range(3))
    assert total == pytest.approx(1.0, abs=2e-6 if name == "plate" else 2e-7)


@pytest.mark.parametrize("name", SHAPES)
def test_the_operator_is_symmetric_and_an_energy(name):
    # 0 <= N <= 1 as an operator (Brown 1962, from memory); 1e-7 is the quadrature's error
    operator = demagnetizing_operator(mesh(SHAPES[name], 200))
    root = 1 / np.sqrt(np.repeat(operator.volume, 3))
    for block in operator.blocks:
        assert np.array_equal(block, block.T)
        eigenvalues = np.linalg.eigvalsh(root[:, None] * block * root)
        assert eigenvalues[0] > -1e-7
        assert eigenvalues[-1] < 1 + 1e-7


@pytest.mark.parametrize("name", ["box", "cylinder", "ring", "hex_nut", "sphere"])
def test_symmetry_classes_give_what_the_whole_matrix_gives(name):
    cells = mesh(SHAPES[name], 120)
    random = np.random.default_rng(5).normal(size=(len(cells.cells), 3))
    whole = demagnetizing_operator(replace(cells, mirrors=())).apply(random)
    found = demagnetizing_operator(cells).apply(random)
    # other faces are integrated first in the two orders of assembly: quadrature error
    assert np.abs(found - whole).max() < 2e-7 * np.abs(whole).max()


def test_class_vectors_are_orthonormal_and_come_back():
    operator = demagnetizing_operator(mesh(SHAPES["ring"], 60))
    cells = len(operator.blocks) * len(operator.volume)
    random = np.random.default_rng(1).normal(size=(cells, 3))
    classes = operator.to_classes(random)
    assert np.sum(classes**2) == pytest.approx(np.sum(random**2), rel=1e-14)
    assert operator.from_classes(classes) == pytest.approx(random, abs=1e-14)


def test_a_uniform_field_along_a_mirrored_axis_lies_in_the_class_of_its_bit():
    operator = demagnetizing_operator(mesh(SHAPES["box"], 60))
    cells = len(operator.blocks) * len(operator.volume)
    for axis in range(3):
        classes = operator.to_classes(np.tile(np.eye(3)[axis], (cells, 1)))
        occupied = [s for s in range(8) if np.abs(classes[s]).max() > 1e-12]
        assert occupied == [1 << axis]


def test_bricks_have_the_tensor_of_newell_williams_and_dunlop():
    # J. Geophys. Res. 98, 9551 (1993), eqs. 19 to 28, from memory; equal bricks
    size = np.array([1.0, 0.7, 0.5])
    cells = reflected(*box.octant(Box(tuple(6 * size)), (3, 3, 3), 0.0))
    operator = demagnetizing_operator(cells)
    source = int(np.argmin(np.linalg.norm(cells.centre - size * [0.5, 0.5, 0.5], axis=1)))
    for axis in range(3):
        unit = np.zeros((216, 3))
        unit[source, axis] = 1.0
        field = operator.apply(unit)
        for target in (source, 0, 5, 77, 111, 200):
            exact = [_brick_tensor(cells.centre[target] - cells.centre[source], size, i, axis)
                     for i in range(3)]  # fmt: skip
            assert field[target] == pytest.approx(exact, abs=2e-7)


def _brick_tensor(shift, size, i, j):
    """N_ij between two equal bricks `shift` apart: second differences of f and g."""
    order = [i, *[k for k in range(3) if k != i]] if i == j else [i, j, 3 - i - j]
    shift, size = shift[order], size[order]
    function = _newell_f if i == j else _newell_g
    total = 0.0
    for steps in np.ndindex(3, 3, 3):
        weight = np.prod([(-1.0, 2.0, -1.0)[s] for s in steps])
        total += weight * function(*(shift + (np.array(steps) - 1) * size))
    return total / (4 * np.pi * np.prod(size))


def _newell_f(x, y, z):
    x, y, z = np.abs([x, y, z]) + 1e-12
    r = np.sqrt(x * x + y * y + z * z)
    return (
        y / 2 * (z * z - x * x) * np.arcsinh(y / np.hypot(x, z))
        + z / 2 * (y * y - x * x) * np.arcsinh(z / np.hypot(x, y))
        - x * y * z * np.arctan(y * z / (x * r))
        + (2 * x * x - y * y - z * z) * r / 6
    )


def _newell_g(x, y, z):
    sign = np.sign(x + 1e-300) * np.sign(y + 1e-300)
    x, y, z = np.abs([x, y, z]) + 1e-12
    r = np.sqrt(x * x + y * y + z * z)
    return sign * (
        x * y * z * np.arcsinh(z / np.hypot(x, y))
        + y / 6 * (3 * z * z - y * y) * np.arcsinh(x / np.hypot(y, z))
        + x / 6 * (3 * z * z - x * x) * np.arcsinh(y / np.hypot(x, z))
        - z**3 / 6 * np.arctan(x * y / (z * r))
        - z * y * y / 2 * np.arctan(x * z / (y * r))
        - z * x * x / 2 * np.arctan(y * z / (x * r))
        - x * y * r / 3
    )


def test_the_shifted_inverse_solves_and_is_symmetric():
    operator = demagnetizing_operator(mesh(SHAPES["hex_nut"], 100))
    inverse = operator.shifted_inverse(1e5)
    shift = np.diag(np.repeat(operator.volume, 3) / 1e5)
    for block, solution in zip(operator.blocks, inverse, strict=True):
        assert np.array_equal(solution, solution.T)
        # condition number up to 1e5 times rounding
        product = (block + shift) @ solution
        assert product == pytest.approx(np.eye(len(block)), abs=1e-9)


@pytest.mark.parametrize("susceptibility", [0.0, -1.0, float("nan")])
def test_a_susceptibility_that_is_none_is_refused(susceptibility):
    operator = demagnetizing_operator(mesh(SHAPES["box"], 8))
    with pytest.raises(ValueError, match="greater than 0"):
        operator.shifted_inverse(susceptibility)


def test_an_operator_without_inverse_says_so():
    operator = demagnetizing_operator(mesh(SHAPES["box"], 8))
    with pytest.raises(ComputationError, match="not positive definite"):
        replace(operator, blocks=-operator.blocks).shifted_inverse(1e9)


def test_the_operator_has_no_scale():
    small = demagnetizing_operator(mesh(Cylinder(0.02, 0.03), 60)).scaled(50.0)
    large = demagnetizing_operator(mesh(Cylinder(1.0, 1.5), 60))
    # faces of equal size may be integrated in the other order: quadrature error
    assert small.blocks == pytest.approx(large.blocks, rel=1e-6, abs=1e-9)
    assert small.volume == pytest.approx(large.volume, rel=1e-12)
