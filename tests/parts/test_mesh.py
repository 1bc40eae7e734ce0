"""Triangulated solids: mass properties against another library, convex pieces, bad surfaces."""

import numpy as np
import pytest
import trimesh

from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Mesh


def mesh(surface):
    return Mesh(np.array(surface.vertices, float), np.array(surface.faces))


SURFACES = {
    "block": trimesh.creation.box((0.03, 0.05, 0.02)),
    "ball": trimesh.creation.icosphere(2, 0.02),
    "tube": trimesh.creation.annulus(0.01, 0.02, 0.05, sections=24),
    "torus": trimesh.creation.torus(0.04, 0.01, major_sections=16, minor_sections=8),
}


@pytest.mark.parametrize("name", SURFACES)
def test_volume_centre_and_inertia_are_those_of_trimesh(name):
    # trimesh 5.2: closed forms after Eberly, Polyhedral Mass Properties (2002)
    surface = SURFACES[name].copy()
    surface.apply_translation([0.1, -0.2, 0.05])
    turn = np.eye(4)
    turn[:3, :3] = rotations.matrix(rotations.from_axis_angle([1, 2, 3], 0.8))
    surface.apply_transform(turn)
    found = mesh(surface)
    assert found.problems == []
    assert found.volume == pytest.approx(surface.volume, rel=1e-10)
    assert found.drawn_centre == pytest.approx(surface.center_mass, abs=1e-12)
    inertia = surface.moment_inertia
    assert found.gyration * found.volume == pytest.approx(inertia, abs=1e-9 * inertia.max())


def test_a_block_as_a_mesh_is_the_box():
    found, box = mesh(SURFACES["block"]), Box((0.03, 0.05, 0.02))
    assert found.volume == pytest.approx(box.volume, rel=1e-13)
    assert found.gyration == pytest.approx(box.gyration, rel=1e-12, abs=1e-18)
    assert found.extents == pytest.approx(box.extents, rel=1e-13)
    ((piece),) = found.pieces
    assert sorted(map(len, piece.shape.loops)) == [4] * 6


@pytest.mark.parametrize(("name", "most"), [("ball", 1), ("tube", 24), ("torus", 80)])
def test_convex_pieces_fill_the_solid(name, most):
    found = mesh(SURFACES[name])
    assert len(found.pieces) <= most
    volumes = [p.shape.volume for p in found.pieces]
    assert sum(volumes) == pytest.approx(found.volume, rel=1e-12)
    assert min(volumes) > 0


def test_convex_pieces_do_not_overlap_and_miss_nothing():
    # each of many points inside the tube, by its radii, is in exactly one piece
    found = mesh(SURFACES["tube"])
    rng = np.random.default_rng(0)
    x = rng.uniform(-0.02, 0.02, (4000, 3))
    angle = np.arctan2(x[:, 1], x[:, 0])
    chord = np.cos(np.pi / 24) / np.cos(np.mod(angle, np.pi / 12) - np.pi / 24)
    r = np.hypot(x[:, 0], x[:, 1]) / chord
    inside = (r > 0.01) & (r < 0.02)
    count = np.zeros(len(x), dtype=int)
    for piece in found.pieces:
        deep = np.full(len(x), -np.inf)
        for loop in piece.shape.loops:
            p = piece.shape.corners[loop] + piece.position
            n = np.cross(p[1] - p[0], p[2] - p[1])
            deep = np.maximum(deep, (x - p[0]) @ (n / np.linalg.norm(n)))
        count += deep < 0
    assert inside.sum() > 500
    assert np.array_equal(count, inside.astype(int))


def test_an_inside_out_surface_is_turned():
    surface = SURFACES["block"]
    found = Mesh(np.array(surface.vertices), np.array(surface.faces)[:, ::-1])
    assert found.was_turned
    assert not mesh(surface).was_turned
    assert found.volume == pytest.approx(surface.volume)
    assert found.problems == []
    assert np.linalg.eigvalsh(found.gyration).min() > 0


def spoilt(change):
    surface = SURFACES["block"]
    corners, triangles = change(np.array(surface.vertices, float), np.array(surface.faces))
    return Mesh(corners, triangles)


def one_turned(corners, triangles):
    triangles[0] = triangles[0, ::-1]
    return corners, triangles


def pushed_through(corners, triangles):
    fine = trimesh.creation.icosphere(2, 0.02)
    corners = np.array(fine.vertices, float)
    corners[np.argmax(corners[:, 2])] = [0.001, 0.002, -0.03]
    return corners, np.array(fine.faces)


def two_of_them(corners, triangles):
    return np.concatenate([corners, corners + 1]), np.concatenate([triangles, triangles + 8])


def too_fine(corners, triangles):
    fine = trimesh.creation.icosphere(5)
    return np.array(fine.vertices), np.array(fine.faces)


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        (lambda c, t: (c, t[:-1]), "is open: 3 edges"),
        (lambda c, t: (c, np.concatenate([t, t[:1]])), "3 edges over two triangles meet"),
        (one_turned, "turned both ways"),
        (lambda c, t: (c * [1, 1, 1e-9], t), "no thickness"),
        (pushed_through, "crosses itself"),
        (two_of_them, "2 separate surfaces"),
        (too_fine, "has 20480 triangles; at most 5000"),
        (lambda c, t: (c * np.nan, t), "finite corners"),
        (lambda c, t: (c, t[:3]), "at least 4 triangles"),
    ],
    ids=["open", "doubled", "turned", "flat", "crossing", "two", "fine", "nan", "few"],
)
def test_an_unsound_surface_is_named(change, complaint):
    ((field, text),) = spoilt(change).problems
    assert field == "file"
    assert complaint in text
    assert "\n" not in text


def test_a_solid_of_too_many_hollows_is_refused():
    ball = trimesh.creation.icosphere(3, 1.0)
    corners = np.array(ball.vertices) * (1 + 0.05 * np.cos(40 * ball.vertices[:, :1]))
    ((_, text),) = Mesh(corners, np.array(ball.faces)).problems
    assert "more hollows than can be computed" in text
