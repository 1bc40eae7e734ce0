"""Bodies far apart: their charges on a few nodes."""

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.charged_faces import charge, charged_faces
from snapsim.magnetics.distant_charges import ENDS, gap_between, weight
from snapsim.magnetics.mutual import FaceSet, face_set, interaction, placed_nodes, wrench
from snapsim.parts.shapes import Box, Cylinder, Shape, Sphere

UP = np.array([0.0, 0.0, 1.0])


def charged(shape: Shape, m: Array) -> tuple[FaceSet, Array]:
    cells = mesh(shape, 100)
    faces = charged_faces(cells)
    sigma = np.empty(len(faces.cell))
    charge(faces.cell, faces.outward, np.tile(m, (len(cells.volume), 1)), sigma)
    return face_set(faces), sigma


# Uniformly magnetised balls are dipoles outside themselves, exactly: F = 3 mu_0 m^2 / (2 pi r^4)
# on one axis (Jackson, Classical Electrodynamics, 3rd ed., section 5.7; from memory).
@pytest.mark.parametrize(("ratio", "tolerance"), [(1.7, 5e-3), (2.0, 3e-3), (4.0, 2e-3)])
def test_distant_balls_pull_as_dipoles(ratio: float, tolerance: float) -> None:
    # The balls' 64 cells hold their volume exactly, their shape to 1e-3.
    ball, sigma = charged(Sphere(0.02), 1e5 * UP)
    spacing = 2 * ball.nodes.reach * ratio
    found = interaction(ball, ball, np.eye(3), spacing * UP)
    moment = 4 / 3 * np.pi * 0.01**3 * 1e5
    expected = 3 * MU_0 * moment**2 / (2 * np.pi * spacing**4)
    assert found.share > 0
    acting = wrench(found, sigma, sigma)
    assert acting[2] == pytest.approx(expected, rel=tolerance)
    assert np.abs(acting[[0, 1, 3, 4, 5]]).max() < 1e-6 * expected


@pytest.mark.parametrize("shape", [Box((0.02, 0.02, 0.02)), Cylinder(0.04, 0.004)])
def test_nodes_give_the_energy_of_the_faces_where_they_take_over(shape: Shape) -> None:
    # Either side of the take-over: a share of 1/1000 of the nodes, and of the faces. The bodies'
    # energy by both differs by 1e-3 of two aligned dipoles' there.
    body, sigma = charged(shape, np.array([0.6e5, 0.0, 0.8e5]))
    along = np.array([0.48, 0.6, 0.64])
    reach = 2 * body.nodes.reach
    moment = 1e5 * shape.volume
    for end in ENDS:
        spacing = reach * (0.03 * sum(ENDS) / 2 + 0.97 * end)
        found = interaction(body, body, np.eye(3), spacing * along)
        q = sigma @ body.nodes.gather
        assert 0 < found.share < 1
        difference = q @ found.kernel @ q - sigma @ found.potential @ sigma
        assert abs(difference) < 2e-3 * 2 * moment**2 / (4 * np.pi * spacing**3)


def test_bodies_far_apart_need_no_pairs_of_faces() -> None:
    body, _ = charged(Box((0.02, 0.02, 0.02)), UP)
    found = interaction(body, body, np.eye(3), 10 * body.nodes.reach * UP)
    assert found.potential.size == 0
    assert [block.shape for _, block in found.blocks] == [(64, 64)]


def test_weight_passes_smoothly_from_none_to_all() -> None:
    low, high = ENDS
    assert weight(low * UP, 1.0)[0] == 0.0
    assert weight(high * UP, 1.0)[0] == 1.0
    for t in np.linspace(low, high, 11):
        value, slope = weight(t * UP, 1.0)
        assert 0 <= value <= 1
        step = 1e-6
        ahead, behind = (weight((t + s) * UP, 1.0)[0] for s in (step, -step))
        # Central difference of a quintic: 1e-9 away from the ends, 1e-6 at them.
        assert slope[2] == pytest.approx((ahead - behind) / (2 * step), abs=1e-5)


def test_gap_between_nodes_belongs_to_the_pose_alone_and_has_its_gradient() -> None:
    one, _ = charged(Box((0.03, 0.02, 0.006)), UP)
    other, _ = charged(Box((0.05, 0.03, 0.006)), UP)
    half = np.sqrt(0.5)
    tilt = np.array([[half, 0, half], [0, 1, 0], [-half, 0, half]])
    a, b = one.nodes, placed_nodes(other.nodes, tilt, np.array([0.004, 0.002, 0.03]))
    gap, slope = gap_between(a, b)
    # seen in other axes, turned by 45 degrees, it is the same
    assert gap_between(placed_nodes(a, tilt, UP), placed_nodes(b, tilt, UP))[0] == (
        pytest.approx(gap, rel=1e-12)
    )
    step = 1e-6
    for axis in range(3):
        move = step * np.eye(3)[axis]
        turn = np.cross(move, a.place)
        for k, change in ((axis, move), (3 + axis, turn)):
            ahead, behind = (
                gap_between(a._replace(place=a.place + s * change), b)[0] for s in (1, -1)
            )
            assert slope[k] == pytest.approx((ahead - behind) / (2 * step), abs=1e-6)
