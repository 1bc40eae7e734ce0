"""Meshes of every shape: volumes, symmetry, orientation, shared faces, mean fields, sizes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from snapsim.errors import InputError
from snapsim.magnetics.cells import (
    DETAIL,
    extrapolated,
    mesh,
    nominal_size,
    refinement_pair,
)
from snapsim.magnetics.cells.hexahedron import (
    cell_faces,
    second_moment,
    volume_and_centre,
)
from snapsim.magnetics.cells.reflection import flips
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere

SHAPES = {
    "box": Box((0.03, 0.02, 0.01)),
    "bar": Box((0.01, 0.02, 0.3)),
    "cylinder": Cylinder(0.02, 0.03),
    "disc": Cylinder(0.2, 0.003),
    "ring": Ring(0.11, 0.026, 0.018),
    "tube": Ring(0.05, 0.049, 0.1),
    "hex_nut": HexNut(0.03, 0.016, 0.013),
    "thin_nut": HexNut(0.03, 0.029, 0.013),
    "sphere": Sphere(0.05),
}
every_shape = pytest.mark.parametrize("name", SHAPES)


@every_shape
@pytest.mark.parametrize("cells", [1, 100, 1000])
def test_cells_fill_the_shapes_volume_about_its_centre(name, cells):
    shape = SHAPES[name]
    found = mesh(shape, cells)
    assert found.volume.min() > 0
    assert found.volume.sum() == pytest.approx(shape.volume, rel=1e-12)
    assert found.volume @ found.centre == pytest.approx(np.zeros(3), abs=1e-15 * shape.volume)


@every_shape
def test_cells_follow_the_surface(name):
    # a regular polygon of n chords and the circle's area reaches out by 1 + (2 pi / n)^2 / 12, and
    # the ball's triangles by less than 1 + (angle)^2 / 2 of an edge
    shape = SHAPES[name]
    found = mesh(shape, 1000)
    reach = np.abs(found.corners).max(axis=0)
    assert reach == pytest.approx(shape.extents, rel=0.02)


@every_shape
def test_second_moments_tend_to_the_solids(name):
    # gyration (3, 3) of the parts module: independent closed forms; error of chords as their square
    shape = SHAPES[name]
    found = mesh(shape, 1000)
    within = second_moment(found.corners, found.cells, found.volume, found.centre)
    outer = found.centre[:, :, None] * found.centre[:, None, :]
    moment = np.einsum("c,cij->ij", found.volume, within + outer) / shape.volume
    gyration = np.trace(moment) * np.eye(3) - moment
    assert gyration == pytest.approx(shape.gyration, rel=3e-3, abs=1e-12)


@every_shape
def test_images_are_reflections_in_the_order_of_the_contract(name):
    found = mesh(SHAPES[name], 200)
    assert found.mirrors == (0, 1, 2)
    base = len(found.cells) // 8
    for image in range(8):
        sign = np.array([-1.0 if image >> bit & 1 else 1.0 for bit in range(3)])
        assert np.array_equal(flips(found.mirrors)[image], sign)
        own = slice(image * base, (image + 1) * base)
        assert np.array_equal(found.centre[own], sign * found.centre[:base])
        assert np.array_equal(found.points[own], sign * found.points[:base])
        assert np.array_equal(found.volume[own], found.volume[:base])
        drawn = found.corners[found.cells[own]]
        original = found.corners[found.cells[:base]] * sign
        for one, other in zip(drawn, original, strict=True):
            assert sorted(map(tuple, one + 0.0)) == sorted(map(tuple, other + 0.0))


@every_shape
def test_volumes_and_centres_are_those_of_the_cells_as_drawn(name):
    # computed afresh on the whole mesh: a turned-over image cell would have negative volume
    found = mesh(SHAPES[name], 200)
    volume, centre = volume_and_centre(found.corners, found.cells)
    # the ball's warped faces may split along the other of two equal diagonals
    assert volume == pytest.approx(found.volume, rel=2e-2 if name == "sphere" else 1e-10)
    size = nominal_size(found)
    assert np.abs(centre - found.centre).max() < (2e-2 if name == "sphere" else 1e-10) * size


@every_shape
def test_faces_between_cells_cancel_and_the_outer_ones_close(name):
    # sum of area vectors over the boundary of a closed body is 0; inner faces have two owners
    found = mesh(SHAPES[name], 200)
    faces = cell_faces(found.corners, found.cells)
    owners = np.bincount(faces.face, minlength=len(faces.corners))
    assert set(owners) == {1, 2}
    outward = np.bincount(faces.face, weights=faces.sign, minlength=len(faces.corners))
    assert set(outward[owners == 2]) == {0.0}
    p = faces.corners
    area = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]) / 2 * outward[:, None]
    assert np.abs(area.sum(axis=0)).max() < 1e-12 * np.abs(area).sum()


@every_shape
def test_the_quadrature_has_the_cells_centre_and_traceless_second_moment(name):
    found = mesh(SHAPES[name], 200)
    base = len(found.cells) // 8
    assert found.weights.sum(axis=1) == pytest.approx(1.0, rel=1e-14)
    mean = np.einsum("cq,cqi->ci", found.weights, found.points)
    assert mean == pytest.approx(found.centre, abs=1e-14)
    away = found.points[:base] - found.centre[:base, None]
    sampled = np.einsum("cq,cqi,cqj->cij", found.weights[:base], away, away)
    exact = second_moment(
        found.corners, found.cells[:base], found.volume[:base], found.centre[:base]
    )
    difference = exact - sampled
    trace = np.einsum("cii->c", difference)[:, None, None] * np.eye(3) / 3
    assert np.abs(difference - trace).max() < 1e-12 * np.abs(exact).max()


def gauss_rule(cells, n=5):
    """Product Gauss points of the trilinear map, n a direction: the same cells, for reference."""
    x, w = np.polynomial.legendre.leggauss(n)
    axes = np.stack(np.meshgrid(x, x, x, indexing="ij"), axis=-1).reshape(-1, 3)
    weight = np.einsum("i,j,k->ijk", w, w, w).ravel()
    corner = np.array(
        [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1],
         [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]]
    )  # fmt: skip
    factors = (1 + axes[:, None] * corner) / 2
    values = factors.prod(axis=2)
    slopes = np.stack(
        [corner[:, k] / 2 * np.delete(factors, k, axis=2).prod(axis=2) for k in range(3)], axis=-1
    )
    p = cells.corners[cells.cells]
    area = np.abs(np.linalg.det(np.einsum("qka,cki->cqai", slopes, p))) * weight
    return np.einsum("qk,cki->cqi", values, p), area / area.sum(axis=1, keepdims=True)


@pytest.mark.parametrize(("name", "cells"), [("box", 64), ("ring", 200), ("hex_nut", 100)])
def test_the_rule_averages_a_nearby_charges_potential_to_fourth_order(name, cells):
    # halved cells gain 16 at fourth order, 4 at second, the centre's; 10 asked for because the
    # coarse cells are as large as the charge is far
    shape = SHAPES[name]
    source = shape.extents * [0.3, 0.2, 1.0] + [0, 0, 0.5 * float(shape.extents.max())]
    errors = []
    for found in refinement_pair(shape, 8 * cells):
        means = [
            np.sum(weights / np.linalg.norm(points - source, axis=2), axis=1)
            for points, weights in ((found.points, found.weights), gauss_rule(found))
        ]
        errors.append(np.sqrt(found.volume @ (means[0] - means[1]) ** 2))
    assert errors[0] > 10 * errors[1]


def test_the_mean_potential_over_a_ball_is_that_of_a_charge_at_its_centre():
    # mean value theorem (Kellogg 1929, ch. VIII; from memory); facets of 0.1 radius, a source 0.4
    # radius off the surface: error of second order, 7e-5 measured
    cells = mesh(SHAPES["sphere"], 3000)
    source = np.array([0.003, 0.002, 0.035])
    inverse = 1 / np.linalg.norm(cells.points - source, axis=2)
    mean = cells.volume @ np.sum(cells.weights * inverse, axis=1) / cells.volume.sum()
    assert mean == pytest.approx(1 / np.linalg.norm(source), rel=2e-4)


@every_shape
def test_the_number_of_cells_is_near_what_was_asked_for(name):
    for detail, asked in DETAIL.items():
        assert 0.6 < len(mesh(SHAPES[name], detail).cells) / asked < 1.6


@every_shape
def test_a_refinement_pair_halves_every_cell(name):
    coarse, fine = refinement_pair(SHAPES[name], 800)
    assert len(fine.cells) == 8 * len(coarse.cells)
    assert nominal_size(coarse) == pytest.approx(2 * nominal_size(fine), rel=1e-12)


def test_extrapolation_removes_an_error_of_second_order():
    # f(h) = 5 + 3 h^2 at h = 2 and 1
    assert extrapolated(17.0, 8.0) == pytest.approx(5.0, rel=1e-15)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["box", "cylinder", "ring", "hex_nut"]),
    st.floats(-2, 2),
    st.floats(-2, 2),
    st.floats(0.02, 0.98),
    st.integers(1, 600),
)
def test_any_proportions_give_sound_cells(kind, first, second, share, cells):
    a, b = 10.0**first, 10.0**second
    shape = {
        "box": Box((a, b, 1.0)),
        "cylinder": Cylinder(a, b),
        "ring": Ring(a, a * share, b),
        "hex_nut": HexNut(a, a * share, b),
    }[kind]
    found = mesh(shape, cells)
    assert found.volume.min() > 0
    assert found.volume.sum() == pytest.approx(shape.volume, rel=1e-10)


@pytest.mark.parametrize("detail", ["finest", 0, -5, True, 2.5])
def test_an_unknown_detail_is_named(detail):
    with pytest.raises(InputError, match="run.detail: is .*draft, normal, fine"):
        mesh(SHAPES["box"], detail)


def test_a_nut_whose_bore_all_but_cuts_its_flats_is_refused():
    with pytest.raises(InputError, match="bore: must leave a wall"):
        mesh(HexNut(0.03, 0.03 * (1 - 1e-6), 0.01), 100)
