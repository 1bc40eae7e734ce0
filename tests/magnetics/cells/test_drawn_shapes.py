"""Meshes of prisms, triangulated solids and compounds: volumes, shared faces, surfaces, sizes."""

import numpy as np
import pytest
import trimesh

from snapsim.errors import ComputationError
from snapsim.magnetics.cells import (
    extrapolation_order,
    mesh,
    nominal_size,
    refinement_pair,
    tetrahedra,
)
from snapsim.magnetics.cells.hexahedron import cell_faces, volume_and_centre
from snapsim.magnetics.demagnetization import demagnetizing_operator
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Compound, Cylinder, Mesh, Piece, Prism


def solid(surface):
    return Mesh(np.array(surface.vertices, float), np.array(surface.faces))


L_OUTLINE = ((0, 0), (0.06, 0), (0.06, 0.01), (0.01, 0.01), (0.01, 0.04), (0, 0.04))
K = np.arange(48)
R = np.where(K % 4 < 2, 0.05, 0.04)
COG = tuple(map(tuple, np.column_stack([R * np.cos(K * np.pi / 24), R * np.sin(K * np.pi / 24)])))
SHAPES = {
    "triangle": Prism(((0, 0), (0.03, 0), (0, 0.02)), 0.01),
    "angle": Prism(L_OUTLINE, 0.02),
    "cog": Prism(COG, 0.02),
    "octahedron": solid(trimesh.convex.convex_hull(0.02 * np.vstack([np.eye(3), -np.eye(3)]))),
    "ball": solid(trimesh.creation.icosphere(3, 0.02)),
    "tube": solid(trimesh.creation.annulus(0.01, 0.02, 0.03, sections=24)),
    "torus": solid(trimesh.creation.torus(0.04, 0.015, major_sections=24, minor_sections=12)),
    "joined": Compound(
        (
            Piece(Box((0.04, 0.03, 0.02))),
            Piece(Cylinder(0.02, 0.03), np.array([0.005, 0, 0.025])),
        )
    ),
}
every_shape = pytest.mark.parametrize("name", SHAPES)


@every_shape
@pytest.mark.parametrize("cells", [60, 300])
def test_cells_fill_the_shapes_volume_about_its_centre(name, cells):
    shape = SHAPES[name]
    found = mesh(shape, cells)
    assert found.volume.min() > 0
    assert found.volume.sum() == pytest.approx(shape.volume, rel=1e-12)
    off = found.volume @ found.centre / shape.volume
    assert off == pytest.approx(np.zeros(3), abs=1e-12 * float(shape.extents.max()))


@every_shape
def test_volumes_and_centres_are_those_of_the_cells_as_drawn(name):
    found = mesh(SHAPES[name], 200)
    volume, centre = volume_and_centre(found.corners, found.cells)
    assert volume == pytest.approx(found.volume, rel=1e-9)
    assert np.abs(centre - found.centre).max() < 1e-9 * nominal_size(found)


@every_shape
def test_faces_between_cells_cancel_and_the_outer_ones_close(name):
    found = mesh(SHAPES[name], 200)
    faces = cell_faces(found.corners, found.cells)
    owners = np.bincount(faces.face, minlength=len(faces.corners))
    assert set(owners) == {1, 2}
    outward = np.bincount(faces.face, weights=faces.sign, minlength=len(faces.corners))
    assert set(outward[owners == 2]) == {0.0}
    p = faces.corners
    area = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]) / 2 * outward[:, None]
    assert np.abs(area.sum(axis=0)).max() < 1e-12 * np.abs(area).sum()


def outer_area(found):
    faces = cell_faces(found.corners, found.cells)
    owners = np.bincount(faces.face, minlength=len(faces.corners))
    p = faces.corners[owners == 1]
    return np.linalg.norm(np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]), axis=1).sum() / 2


@pytest.mark.parametrize(
    ("name", "within"),
    # plane faces are followed exactly; curved ones by chords of a sixth of the size
    [("triangle", 1e-12), ("angle", 1e-12), ("cog", 1e-12), ("octahedron", 1e-12), ("ball", 0.04)],
)
def test_cells_have_the_surface_of_the_solid(name, within):
    shape = SHAPES[name]
    corners, triangles = shape.surface(64)
    p = corners[triangles]
    area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum() / 2
    assert outer_area(mesh(shape, 300)) == pytest.approx(area, rel=within)


@every_shape
def test_a_refinement_pair_halves_every_cell(name):
    coarse, fine = refinement_pair(SHAPES[name], 400)
    assert len(fine.cells) == 8 * len(coarse.cells)
    assert fine.volume.sum() == pytest.approx(coarse.volume.sum(), rel=1e-12)
    assert 1.3 < extrapolation_order(SHAPES[name], 400) <= 2.0


@every_shape
def test_the_number_of_cells_is_near_what_was_asked_for(name):
    assert 0.55 < len(mesh(SHAPES[name], 400).cells) / 400 < 1.7
    share = 0.8 if isinstance(SHAPES[name], Prism) else 0.5
    assert 0.5 < len(mesh(SHAPES[name], "normal").cells) / (1000 * share) < 1.7


@every_shape
def test_the_operator_is_that_of_a_magnetostatic_energy(name):
    # N + 0 has eigenvalues within [0, 1] (Brown 1962, ch. 3; from memory); quadrature: 1e-6
    operator = demagnetizing_operator(mesh(SHAPES[name], 60))
    scale = 1 / np.sqrt(np.repeat(operator.volume, 3))
    for block in operator.blocks:
        values = np.linalg.eigvalsh(block * scale[:, None] * scale)
        assert values.min() > -1e-6
        assert values.max() < 1 + 1e-3


def test_a_prism_on_a_square_has_the_cells_of_the_box():
    prism = Prism(((0.1, 0), (0.13, 0), (0.13, 0.02), (0.1, 0.02)), 0.01)
    one, other = mesh(prism, 200), mesh(Box((0.03, 0.02, 0.01)), 200)
    assert np.array_equal(one.cells, other.cells)
    assert one.corners == pytest.approx(other.corners, abs=1e-16)
    blocks = [demagnetizing_operator(m).blocks for m in (one, other)]
    assert blocks[0] == pytest.approx(blocks[1], abs=1e-12 * np.abs(blocks[1]).max())


def test_members_with_like_cells_share_faces():
    # turned askew, so that corners of both agree but for rounding
    turn = rotations.matrix(rotations.from_axis_angle([1, 2, 3], 0.7))
    half, step = Box((0.02, 0.02, 0.02)), turn @ [0.01, 0, 0]
    found = mesh(Compound((Piece(half, step, turn), Piece(half, -step, turn))), 128)
    faces = cell_faces(found.corners, found.cells)
    assert outer_area(found) == pytest.approx(10 * 0.02**2, rel=1e-9)
    on_seam = np.abs(faces.corners @ turn[:, 0]).max(axis=1) < 1e-12
    owners = np.bincount(faces.face, minlength=len(faces.corners))
    assert set(owners[on_seam]) == {2}


def test_halved_tetrahedra_fill_the_same_space():
    points = np.array([[0, 0, 0], [1, 0, 0], [0.2, 1, 0], [0.3, 0.1, 1.0]])
    grown, loops = tetrahedra.halved(points, np.array([[0, 1, 2, 3]]))
    volume = np.linalg.det(grown[loops[:, 1:]] - grown[loops[:, :1]]) / 6
    assert len(loops) == 8
    assert volume == pytest.approx(np.full(8, 1 / 48), rel=1e-12)
    faces = cell_faces(grown, loops[:, [0, 1, 2, 2, 3, 3, 3, 3]])
    owners = np.bincount(faces.face, minlength=len(faces.corners))
    assert sorted(owners) == [1] * 16 + [2] * 8


def test_a_sheet_too_thin_for_its_cells_is_an_error_of_the_computation():
    shell = trimesh.creation.annulus(0.0999, 0.1, 0.1, sections=96)
    with pytest.raises(ComputationError, match="too thin"):
        mesh(solid(shell), 20)
