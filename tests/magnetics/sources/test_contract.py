"""What every field source keeps: its gradient, its symmetry, its trace, Gauss's law."""

import numpy as np
import pytest

from snapsim.magnetics.sources import MEMBERS, source_for
from snapsim.parts.shapes import SHAPES, Box, Cylinder, HexNut, Ring, Shape, Sphere

BODIES = [
    Box((0.04, 0.02, 0.01)),
    Cylinder(0.02, 0.01),
    Cylinder(0.01, 0.05),
    Ring(0.11, 0.026, 0.018),
    Sphere(0.03),
    HexNut(0.03, 0.016, 0.012),
]
MAGNETISATIONS = [(0.0, 0.0, 1e6), (1e6, 0.0, 0.0), (0.0, 1e6, 0.0), (3e5, -7e5, 2e5)]
# in half extents; none nearer than 0.05 of them to a surface of any body above
PLACES = np.array(
    [
        [0.6, 0.1, 0.2], [0.55, -0.2, 0.85], [0.6, 0.05, 1.1], [1.1, 0.2, 1.1], [1.2, 1.2, 1.2],
        [0.0, 0.0, 1.5], [0.001, 0.0005, 1.3], [1.0, 1.0, 1.4], [0.1, -1.5, 0.0], [2.0, 3.0, -2.5],
        [9.0, -4.0, 7.0], [-30.0, 20.0, 5.0], [0.0, 0.0, 40.0],
    ]
)  # fmt: skip


def sixth_order(field, x: np.ndarray, step: float) -> np.ndarray:
    """dH_i/dx_l by central differences of H, extrapolated twice (Richardson)."""
    columns = []
    for axis in np.eye(3):
        d = [
            (field(x + k * step * axis) - field(x - k * step * axis)) / (2 * k * step)
            for k in (1, 2, 4)
        ]
        once = [(4 * d[0] - d[1]) / 3, (4 * d[1] - d[2]) / 3]
        columns.append((16 * once[0] - once[1]) / 15)
    return np.stack(columns, axis=-1)


def test_every_shape_has_a_source() -> None:
    # a compound is the sum of its members, a frame is charged as it is drawn: its faces are plane
    assert {*MEMBERS, "compound", "frame"} == set(SHAPES)


@pytest.mark.parametrize("shape", BODIES, ids=lambda s: s.kind)
@pytest.mark.parametrize("m", MAGNETISATIONS)
def test_gradient_is_the_derivative_of_the_field(
    shape: Shape, m: tuple[float, float, float]
) -> None:
    """Against differences of the field (itself checked against outside values). Step: 1/400 of
    the smallest extent, or of the distance; truncation and rounding are then below 1e-8 of the
    largest entry, or of |M|/extent/1e4 where the gradient vanishes."""
    source = source_for(shape)
    for x in PLACES * shape.extents:
        step = max(shape.extents.min(), 0.3 * np.linalg.norm(x)) / 400
        _, g = source.field_and_gradient(x, m)
        expected = sixth_order(lambda p: source.field(p, m)[0], x, step)
        far = min(1.0, (np.linalg.norm(shape.extents) / np.linalg.norm(x)) ** 4)
        floor = 1e-4 * far * np.linalg.norm(m) / shape.extents.max()
        assert np.abs(g[0] - expected).max() < 1e-8 * max(np.abs(g).max(), floor), x


@pytest.mark.parametrize("shape", BODIES, ids=lambda s: s.kind)
def test_tensor_is_symmetric_with_trace_one_inside_and_zero_outside(shape: Shape) -> None:
    """div B = 0 and curl H = 0: trace N = 1 inside, 0 outside (Jackson, 3rd ed., section 5.9;
    from memory). Inside is judged by the shape's geometry, not by the kernel."""
    points = np.random.default_rng(5).uniform(-1.4, 1.4, (300, 3)) * shape.extents
    tensor = source_for(shape).tensor(points)
    assert np.allclose(tensor, np.swapaxes(tensor, 1, 2), rtol=0, atol=1e-12)
    assert np.allclose(np.trace(tensor, axis1=1, axis2=2), inside(shape, points), atol=1e-11)


def inside(shape: Shape, x: np.ndarray) -> np.ndarray:
    """1 where points (k, 3) lie in the shape, else 0."""
    if isinstance(shape, Sphere):
        return (np.linalg.norm(x, axis=1) < shape.diameter / 2).astype(float)
    outline = shape.outline
    assert outline is not None
    rho = np.hypot(x[:, 0], x[:, 1])
    if outline.polygon.size:
        edge = np.roll(outline.polygon, -1, axis=0) - outline.polygon
        from_corner = x[:, None, :2] - outline.polygon[None]
        within = (edge[:, 0] * from_corner[..., 1] > edge[:, 1] * from_corner[..., 0]).all(axis=1)
    else:
        within = rho < outline.radius
    return (within & (rho > outline.bore_radius) & (abs(x[:, 2]) < outline.half_length)) * 1.0


@pytest.mark.parametrize("shape", BODIES, ids=lambda s: s.kind)
def test_tensor_gradient_is_the_gradient_of_each_column(shape: Shape) -> None:
    source, m = source_for(shape), np.array([3e5, -7e5, 2e5])
    points = PLACES * shape.extents
    _, g = source.field_and_gradient(points, m)
    product = -np.einsum("kijl,j->kil", source.tensor_gradient(points), m)
    assert np.allclose(product, g, rtol=1e-9, atol=1e-9 * np.abs(g).max())
    assert np.allclose(np.trace(g, axis1=1, axis2=2), 0, atol=1e-11 * np.abs(g).max())
    assert np.allclose(-np.einsum("kij,j->ki", source.tensor(points), m), source.field(points, m))


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (Box((0.01, 0.01, 0.01)), 0.3333333333),
        (Box((0.01, 0.01, 0.02)), 0.1983161528),
        (Box((0.03, 0.02, 0.01)), 0.5387903059),
        (Cylinder(0.01, 0.01), 0.3115773927),
        (Cylinder(0.01, 0.002), 0.6801745322),
        (Cylinder(0.01, 0.05), 0.0799073292),
    ],
)
def test_volume_mean_is_the_magnetometric_factor(shape: Shape, expected: float) -> None:
    """Prisms: Aharoni, J. Appl. Phys. 83, 3432 (1998), eq. (1); cylinders: Joseph, J. Appl. Phys.
    37, 4639 (1966) through the Nagaoka coefficient; both formulas from memory, values computed
    from them and checked by integration. The mean is by 32-point quadrature, whose error at the
    logarithmic edges is below 3e-4."""
    from snapsim.magnetics.magnet_pair import quadrature

    points, weights = quadrature(shape, 32)
    mean = weights @ source_for(shape).tensor(points)[:, 2, 2] / shape.volume
    assert mean == pytest.approx(expected, rel=3e-4)
