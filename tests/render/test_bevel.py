"""Rounded edges."""

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere
from snapsim.render.bevel import rounded, setback_of

SHAPES = {
    "box": Box((0.12, 0.08, 0.04)),
    "ring": Ring(0.11, 0.026, 0.018),
    "cylinder": Cylinder(0.06, 0.03),
    "nut": HexNut(0.046, 0.026, 0.03),
    "ball": Sphere(0.025),
}


@pytest.mark.parametrize("name", SHAPES)
def test_the_surface_stays_closed_within_the_body_and_keeps_its_volume(name):
    shape = SHAPES[name]
    mesh = rounded(*shape.surface(96), setback_of(shape.extents))
    assert mesh.n_open_edges == 0
    assert mesh.is_manifold
    assert 0.99 < mesh.volume / shape.volume <= 1.0005
    assert np.all(np.abs(mesh.points) <= shape.extents + 1e-6)
    normals = np.asarray(mesh.point_data["Normals"])
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-5)


def test_an_edge_of_a_box_is_drawn_in_by_the_setback_and_turns_from_face_to_face():
    shape = SHAPES["box"]
    mesh = rounded(*shape.surface(96), 0.002)
    points, normals = np.asarray(mesh.points), np.asarray(mesh.point_data["Normals"])
    on_edge = (np.abs(points[:, 1]) < 0.03) & (points[:, 0] > 0.0575) & (points[:, 2] > 0.0175)
    tilt = np.degrees(np.arctan2(normals[on_edge, 2], normals[on_edge, 0]))
    assert len(np.unique(np.round(tilt))) >= 5  # flat, three between, flat
    corner = np.linalg.norm(points - shape.extents, axis=1)
    assert corner.min() > 0.0005
