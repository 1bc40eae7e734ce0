"""Prism, mesh and compound magnets: the fields of equal boxes, of their pieces, and Gauss's law."""

import magpylib
import numpy as np
import pytest
import trimesh

from snapsim.constants import MU_0
from snapsim.magnetics import magnet_pair
from snapsim.magnetics.sources import source_for
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Compound, Cylinder, Mesh, Piece, Prism, Sphere

SIZE = (0.12, 0.08, 0.04)
A, B, H = np.array(SIZE) / 2
M = np.array([3e5, -7e5, 2e5])
POINTS = np.random.default_rng(0).normal(size=(60, 3)) * 0.1
QUARTER = rotations.matrix(rotations.from_axis_angle([0, 0, 1], np.pi / 2))


def solid(surface):
    return Mesh(np.array(surface.vertices, float), np.array(surface.faces))


HALF = Box((A, 2 * B, 2 * H))
SHIFT = np.array([A / 2, 0, 0])
RECTANGLE = Prism(((0, 0), (A, 0), (A, 2 * B), (0, 2 * B)), 2 * H)
BLOCKS = {
    "prism": Prism(((-A, -B), (A, -B), (A, B), (-A, B)), SIZE[2]),
    "mesh": solid(trimesh.creation.box(SIZE)),
    "halves": Compound((Piece(HALF, SHIFT), Piece(HALF, -SHIFT))),
    "turned": Compound(
        (Piece(Box((2 * B, A, 2 * H)), SHIFT, QUARTER), Piece(RECTANGLE, -SHIFT, QUARTER @ QUARTER))
    ),
}
ANGLE = Prism(((0, 0), (0.06, 0), (0.06, 0.01), (0.01, 0.01), (0.01, 0.04), (0, 0.04)), 0.02)


@pytest.mark.parametrize("kind", BLOCKS)
def test_a_block_by_any_name_has_the_boxs_field(kind):
    h, g = source_for(BLOCKS[kind]).field_and_gradient(POINTS, M)
    expected, slope = source_for(Box(SIZE)).field_and_gradient(POINTS, M)
    assert np.abs(h - expected).max() < 1e-13 * np.abs(expected).max()
    assert np.abs(g - slope).max() < 1e-13 * np.abs(slope).max()


def test_an_angle_is_the_sum_of_its_convex_pieces():
    h, g = source_for(ANGLE).field_and_gradient(POINTS, M)
    expected, slope = source_for(Compound(ANGLE.pieces)).field_and_gradient(POINTS, M)
    assert np.abs(h - expected).max() < 1e-13 * np.abs(expected).max()
    assert np.abs(g - slope).max() < 1e-13 * np.abs(slope).max()


def test_a_triangular_prism_has_the_field_of_its_tetrahedra():
    # magpylib 6.3 (Rubeck et al., IEEE Trans. Magn. 49, 223 (2013) for its tetrahedra)
    prism = Prism(((0, 0), (0.03, 0), (0, 0.02)), 0.02)
    a, b, c = ([*p, z] for p, z in zip(prism.polygon.tolist(), [-0.01] * 3, strict=True))
    d, e, f = ([*p, 0.01] for p in prism.polygon.tolist())
    cut = ([a, b, c, d], [b, c, d, e], [c, d, e, f])
    body = magpylib.Collection(
        [magpylib.magnet.Tetrahedron(vertices=t, polarization=MU_0 * M) for t in cut]
    )
    far = POINTS[np.linalg.norm(POINTS, axis=1) > 0.03]
    expected = body.getH(far)
    found = source_for(prism).field(far, M)
    assert np.abs(found - expected).max() < 1e-9 * np.abs(expected).max()


def test_a_fine_ball_of_triangles_is_nearly_a_dipole():
    # facets of 1/40 of the diameter, at its own volume: the moment is exact, the rest small
    ball = solid(trimesh.creation.icosphere(3, 0.02))
    sphere = Sphere(2 * (ball.volume * 3 / 4 / np.pi) ** (1 / 3))
    far = POINTS[np.linalg.norm(POINTS, axis=1) > 0.06]
    found, expected = (source_for(s).field(far, M) for s in (ball, sphere))
    assert np.abs(found - expected).max() < 1e-4 * np.abs(expected).max()


def in_block(points):
    return np.all(np.abs(points) < [A, B, H], axis=1)


def in_angle(points):
    """Two bars, drawn from the outer corner, which lies at the polygon's own first point."""
    x, y, z = (points - [*ANGLE.polygon[0], 0.0]).T
    foot, wall = (x < 0.06) & (y < 0.01), (x < 0.01) & (y < 0.04)
    return (x > 0) & (y > 0) & (np.abs(z) < 0.01) & (foot | wall)


@pytest.mark.parametrize(
    ("shape", "inside"),
    [(ANGLE, in_angle), (BLOCKS["mesh"], in_block), (BLOCKS["turned"], in_block)],
    ids=lambda s: getattr(s, "kind", ""),
)
def test_the_tensor_has_trace_one_inside_and_none_outside(shape, inside):
    rng = np.random.default_rng(1)
    points = rng.uniform(-1.5, 1.5, (2000, 3)) * shape.extents
    trace = np.einsum("kii->k", source_for(shape).tensor(points))
    expected = inside(points)
    assert 100 < expected.sum() < 1900
    assert np.abs(trace - expected).max() < 1e-11  # rounding: 4e-15 was seen


@pytest.mark.parametrize("kind", [*BLOCKS, "angle", "tube", "joined"])
def test_the_quadrature_has_the_solids_volume_centre_and_inertia(kind):
    shape = {
        **BLOCKS,
        "angle": ANGLE,
        "tube": solid(trimesh.creation.annulus(0.01, 0.02, 0.03, sections=12)),
        "joined": Compound(
            (Piece(Box(SIZE)), Piece(Cylinder(0.02, 0.03), np.array([0, 0, 0.035])))
        ),
    }[kind]
    points, weights = magnet_pair.quadrature(shape)
    assert weights.min() > 0
    assert weights.sum() == pytest.approx(shape.volume, rel=1e-12)
    size = float(shape.extents.max())
    assert weights @ points == pytest.approx(np.zeros(3), abs=1e-9 * size * shape.volume)
    spread = np.einsum("k,ki,kj->ij", weights, points, points) / shape.volume
    gyration = np.trace(spread) * np.eye(3) - spread
    # Gauss rules are exact for polynomials of second degree, in bricks, triangles and tetrahedra
    assert gyration == pytest.approx(shape.gyration, rel=1e-10, abs=1e-12 * size**2)


def test_the_pull_between_two_mesh_magnets_is_that_of_two_boxes():
    # blocks 60 x 40 x 20 mm, 15 mm apart: quadrature of 1e-4
    size, gap = (0.06, 0.04, 0.02), 0.015
    place = np.array([0.004, 0.0, 0.02 + gap])
    forces = []
    for shape in (Box(size), solid(trimesh.creation.box(size))):
        points, weights = magnet_pair.quadrature(shape)
        h, g = source_for(shape).field_and_gradient(points + place, [0, 0, 1e6])
        force = magnet_pair.load_on_magnet(h, g, points, weights, np.array([0, 0, 1e6]))[0]
        forces.append(force)
    assert forces[1] == pytest.approx(forces[0], abs=1e-4 * np.linalg.norm(forces[0]))
