"""The bound of a gap from a few directions: never above the gap, and the gap where faces lie."""

import numpy as np
import pytest
import trimesh
from contact_reference import SHAPES, bodies, geometry, pose, random_quaternion, turn

from snapsim.mechanics.separating_axis import gap_bound
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Compound, Cylinder, Mesh, Piece, Prism, Sphere

QUARTER = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
HAMMER = Compound(
    (
        Piece(Box((0.06, 0.02, 0.02)), np.array([0, 0, 0.05])),
        Piece(Cylinder(0.01, 0.08)),
        Piece(Sphere(0.02), np.array([0, 0, -0.05])),
        Piece(Cylinder(0.008, 0.02), np.array([0, -0.02, 0.05]), QUARTER),
    )
)
LUMP = trimesh.creation.icosphere(1, 0.03)
EVERY = (
    *SHAPES,
    Prism(((0, 0), (0.05, 0), (0.06, 0.03), (0.01, 0.05)), 0.02),
    Mesh(np.array(LUMP.vertices, float), np.array(LUMP.faces)),
    HAMMER,
)


def bound(one, other, here):
    return gap_bound(tuple(bodies(one, other)), here)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("one", EVERY, ids=lambda s: s.kind)
def test_no_bound_is_above_the_gap(one, seed):
    """Places from deep overlap to well apart; 1e-12 m is rounding of lengths below a metre.

    Of an overlap `gaps` has a way out that is not always the shortest, so there only the sign.
    """
    rng = np.random.default_rng(seed)
    for other in EVERY:
        size = np.linalg.norm(one.extents) + np.linalg.norm(other.extents)
        for share in (0.2, 0.5, 0.8):
            way = rotations.rotate(random_quaternion(rng), [0, 0, size * share])
            here = pose((way, random_quaternion(rng)), ((0, 0, 0), random_quaternion(rng)))
            gap = max(0.0, geometry(one, other).gaps(here)[0])
            assert bound(one, other, here) <= gap + 1e-12


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("one", EVERY, ids=lambda s: s.kind)
def test_what_stands_over_a_table_has_its_very_gap(one, seed):
    """Turned anyhow, at most half an extent off the middle of a level face."""
    rng, table = np.random.default_rng(seed), Box((1.0, 1.0, 0.1))
    place = (rng.uniform(-0.2, 0.2), rng.uniform(-0.2, 0.2), 0.3), random_quaternion(rng)
    here = pose(place, (0, 0, 0))
    gap = geometry(one, table).gaps(here)[0]
    assert gap > 0
    assert bound(one, table, here) == pytest.approx(gap, abs=1e-12)


@pytest.mark.parametrize(
    ("one", "other", "place", "gap"),
    [
        (Cylinder(0.04, 0.1), Cylinder(0.02, 0.06), (0.031, 0.012, 0.03), np.hypot(31, 12) - 30),
        (Sphere(0.02), Box((0.06, 0.06, 0.06)), (0.036, 0.036, 0.036), 6 * np.sqrt(3) - 10),
        (Sphere(0.02), Sphere(0.03), (0.02, 0.01, 0.015), np.sqrt(400 + 100 + 225) - 25),
    ],
)
def test_round_things_side_by_side_are_parted_too(one, other, place, gap):
    """Gaps [mm] by Pythagoras, whichever of the two is named first and however both are turned."""
    for q in (rotations.IDENTITY, turn([1, 2, 3], 40)):
        here = pose((rotations.rotate(q, place), q), ((0, 0, 0), q))
        back = pose(((0, 0, 0), q), (rotations.rotate(q, place), q))
        assert bound(one, other, here) == pytest.approx(1e-3 * gap, abs=1e-12)
        assert bound(other, one, back) == pytest.approx(1e-3 * gap, abs=1e-12)
