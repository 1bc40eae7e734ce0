"""The magnet's surface, pole by pole; meshes only, nothing is drawn."""

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere
from snapsim.render import poles

SHAPES = [
    Box((0.12, 0.08, 0.04)),
    Cylinder(0.06, 0.05),
    Cylinder(0.06, 0.006),
    Ring(0.07, 0.03, 0.02),
    Sphere(0.05),
]
DIRECTIONS = [np.array(d) for d in ((0.0, 0, 1), (0, 0, -1.0), (1.0, 0, 0), (0.6, 0, 0.8))]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.kind)
@pytest.mark.parametrize("direction", DIRECTIONS, ids=str)
def test_halves_meet_at_the_centre_and_share_the_whole_surface(shape, direction):
    corners, triangles = shape.surface(64)
    north, south = poles.halves(corners, triangles, direction)
    assert (north.points @ direction).min() > -1e-6
    assert (south.points @ direction).max() < 1e-6
    whole = poles.poly(corners, triangles).area
    assert north.area == pytest.approx(south.area, rel=1e-5)  # float32 points
    assert north.area + south.area == pytest.approx(whole, rel=1e-5)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.kind)
def test_the_hatch_splits_the_south_half_and_shows_on_every_side(shape):
    direction = np.array([0.0, 0, 1])
    _, south = poles.halves(*shape.surface(64), direction)
    ground, stripes = poles.hatched(south, direction, poles.hatch_period(shape.extents))
    assert ground.area + stripes.area == pytest.approx(south.area, rel=1e-4)
    assert 0.2 < stripes.area / south.area < 0.47
    normals = stripes.compute_normals(auto_orient_normals=False).cell_data["Normals"]
    for side in (*np.eye(3), -np.eye(3)[0], -np.eye(3)[1]):
        facing = normals @ (side if side[2] == 0 else -side)
        assert facing.max() > 0.8, f"no stripe faces {side}"


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.kind)
@pytest.mark.parametrize("direction", DIRECTIONS[:3], ids=str)
def test_letters_lie_on_the_surface_of_their_half_and_face_outward(shape, direction):
    north, south = poles.halves(*shape.surface(64), direction)
    flat = poles.letter_outline("N")
    for half, way in ((north, direction), (south, -direction)):
        (placed,) = poles.place_letters(half, way, np.array([0.0, 0, 1]), [flat])
        assert len(placed) >= 3
        for letter in placed:
            assert letter.area > 0
            nearest = np.array([half.find_closest_cell(p) for p in letter.points])
            surface = half.compute_normals(auto_orient_normals=False).cell_data["Normals"][nearest]
            own = letter.point_data["Normals"]
            assert np.median((surface * own).sum(axis=1)) > 0.9
            assert (letter.points @ way).min() > -1e-6
