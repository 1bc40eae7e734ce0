"""What shapes say of their own symmetry, checked on their volume and their surface."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest

from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import (
    SHAPES,
    Box,
    Compound,
    Cylinder,
    HexNut,
    Mesh,
    Piece,
    Prism,
    Revolution,
    Ring,
    Shape,
    Sphere,
    fills_its_box,
    pieces_of,
)

SQUARE = ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0))
WEDGE = ((0.0, 0.0), (3.0, 0.0), (0.0, 2.0))
ARROW = ((0.0, 0.0), (3.0, 1.0), (0.0, 2.0), (1.0, 1.0))
CUBE = Box((1.0, 1.0, 1.0))
ON_TOP = np.array([0.0, 0.0, 1.0])
ASIDE = np.array([1.0, 0.0, 0.0])


OCTAHEDRON = Mesh(
    np.vstack([np.eye(3), -np.eye(3)]),
    np.array(
        [[0, 1, 2], [0, 2, 4], [0, 4, 5], [0, 5, 1], [3, 2, 1], [3, 4, 2], [3, 5, 4], [3, 1, 5]]
    ),
)


def mesh_of(shape):
    return Mesh(*shape.surface(24))


# How many symmetries along the axes each has: order of its point group (Conway, Burgiel &
# Goodman-Strauss, The Symmetries of Things, 2008; from memory), of a body of revolution the share
# of it that permutes the axes.
ORDERS = [
    (CUBE, 48),
    (Box((1.0, 1.0, 2.0)), 16),
    (Box((1.0, 2.0, 3.0)), 8),
    (Cylinder(1.0, 2.0), 16),
    (Ring(2.0, 1.0, 2.0), 16),
    (Sphere(1.0), 48),
    (HexNut(2.0, 1.0, 1.0), 24),
    (Prism(SQUARE, 1.0), 16),
    (Prism(SQUARE[::-1], 1.0), 16),
    (Prism(WEDGE, 1.0), 2),
    (Prism(ARROW, 1.0), 4),
    (OCTAHEDRON, 48),
    (mesh_of(Prism(WEDGE, 1.0)), 1),  # the walls' diagonals have no mirror image: too few
    (Compound((Piece(CUBE), Piece(Cylinder(1.0, 1.0), ON_TOP))), 8),
    (Compound((Piece(CUBE), Piece(CUBE, ASIDE))), 16),
    (Compound((Piece(CUBE), Piece(Prism(WEDGE, 1.0), 2 * ASIDE))), 2),
]


@pytest.mark.parametrize(("shape", "order"), ORDERS)
def test_a_shape_has_as_many_symmetries_as_its_point_group(shape, order):
    found = shape.symmetries
    assert len({tuple(np.round(m, 9).ravel() + 0.0) for m in found}) == len(found) == order
    assert np.array_equal(found[0], np.eye(3))


@pytest.mark.parametrize(("shape", "order"), ORDERS)
def test_each_symmetry_keeps_inertia_and_surface(shape, order):
    corners, _ = shape.surface(24)
    ways = np.random.default_rng(1).normal(size=(3, 40))
    reach = (corners @ ways).max(axis=0)
    for m in shape.symmetries:
        assert m @ m.T == pytest.approx(np.eye(3), abs=1e-12)
        assert m @ shape.gyration @ m.T == pytest.approx(shape.gyration, rel=1e-12)
        if shape.revolution is not Revolution.CENTRE:  # drawn with a pole: alike about it only
            # circles have 24 corners: turned by a right angle or a sixth they reach as far
            assert (corners @ (m @ ways)).max(axis=0) == pytest.approx(reach, rel=1e-12)


def test_bodies_of_revolution_say_so_and_others_do_not():
    about = {
        Revolution.AXIS: [
            Cylinder(1.0, 2.0),
            Ring(2.0, 1.0, 1.0),
            Compound((Piece(Cylinder(2.0, 1.0)), Piece(Cylinder(1.0, 1.0), ON_TOP))),
            Compound((Piece(Cylinder(2.0, 1.0)), Piece(Sphere(1.0), ON_TOP))),
        ],
        Revolution.CENTRE: [Sphere(1.0)],
        Revolution.NONE: [
            CUBE,
            HexNut(2.0, 1.0, 1.0),
            Prism(SQUARE, 1.0),
            mesh_of(Cylinder(1.0, 2.0)),
            Compound((Piece(Cylinder(2.0, 1.0)), Piece(Cylinder(1.0, 1.0), 1.5 * ASIDE))),
            Compound((Piece(Cylinder(2.0, 1.0)), Piece(CUBE, ON_TOP))),
        ],
    }
    for revolution, shapes in about.items():
        for shape in shapes:
            assert shape.revolution is revolution
            if revolution is not Revolution.NONE:  # then two moments of inertia are equal
                g = shape.gyration
                assert g[0, 0] == pytest.approx(g[1, 1], rel=1e-12)


def test_magnetisation_across_takes_symmetries_away():
    from snapsim.landscape.symmetry import shape_symmetries, spins_freely

    magnet = MATERIALS["NdFeB N45"]
    for direction, order in ((ON_TOP, 8), (ASIDE, 4)):
        body = Body("m", Cylinder(1.0, 2.0), magnet, direction, False)
        # an axial vector along z: turns about z, and the mirror across it: 4 x 2; across: x stays
        # under a half turn about x and the mirror across x, and both together
        assert len(shape_symmetries(body)) == order
        assert spins_freely(body) is (direction is ON_TOP)


def test_a_block_fills_its_box_under_any_name():
    halves = Compound((Piece(CUBE), Piece(CUBE, ASIDE)))
    for block in (CUBE, Prism(SQUARE, 1.0), mesh_of(CUBE), halves):
        assert fills_its_box(block)
    for other in (Cylinder(1.0, 1.0), Prism(WEDGE, 1.0), mesh_of(Sphere(1.0))):
        assert not fills_its_box(other)


def test_a_rectangular_prism_is_simplest_as_a_box():
    assert Prism(SQUARE, 3.0).simplest == Box((2.0, 2.0, 3.0))
    wedge = Prism(WEDGE, 3.0)
    assert wedge.simplest is wedge


def test_every_kind_is_listed_under_its_own_name():
    assert all(kind == shape.kind for kind, shape in SHAPES.items())


@dataclass(frozen=True)
class Bare(Shape):
    """A cylinder that says the least it may."""

    kind: ClassVar[str] = "bare"
    known: Cylinder

    volume = property(lambda self: self.known.volume)
    gyration = property(lambda self: self.known.gyration)
    extents = property(lambda self: self.known.extents)
    problems = property(lambda self: self.known.problems)

    def surface(self, fineness):
        return self.known.surface(fineness)


def test_a_shape_that_says_the_least_is_taken_as_drawn():
    from snapsim.magnetics.cells import mesh
    from snapsim.magnetics.magnet_pair import quadrature
    from snapsim.magnetics.sources import source_for

    known = Cylinder(0.02, 0.03)
    bare = Bare(known)
    (piece,) = pieces_of(bare)
    assert piece.shape.kind == "convex_polyhedron"
    # a polygon of 48 sides within a circle misses 2.9e-3 of its area, and of moments per area
    assert piece.shape.volume == pytest.approx(known.volume, rel=3e-3)
    assert piece.shape.gyration == pytest.approx(known.gyration, rel=3e-3, abs=1e-12)
    assert mesh(bare, "draft").volume.sum() == pytest.approx(known.volume, rel=1e-12)
    points, weights = quadrature(bare)
    assert weights.sum() == pytest.approx(known.volume, rel=1e-12)
    assert weights @ points == pytest.approx(np.zeros(3), abs=1e-12 * known.volume)
    away = np.array([[0.03, 0.0, 0.01], [0.0, 0.0, 0.04], [0.02, 0.02, -0.03]])
    m = np.array([1e6, 2e6, 3e6])
    h = source_for(bare).field(away, m)
    # 32 sides: 6.4e-3 of the area, lengths 2.1e-3 too long; the dipole is that of the true volume
    assert h == pytest.approx(source_for(known).field(away, m), rel=5e-3, abs=100.0)


def test_a_magnet_that_says_the_least_acts_on_another_as_drawn():
    from snapsim.magnetics.charged_surface import surface_of

    bare, box = surface_of(Bare(Cylinder(0.02, 0.03))), surface_of(Box((0.02, 0.02, 0.03)))
    assert len(bare.patches) > len(box.patches)
    assert bare.size == pytest.approx(0.03)


def test_how_deep_a_shape_that_says_the_least_reaches_is_measured():
    from snapsim.simulation.overlap_depth import deepest_overlap

    wood = MATERIALS["oak"]
    bodies = [
        Body("a", Bare(Cylinder(0.02, 0.03)), wood, None, False),
        Body("b", Box((0.1, 0.1, 0.01)), wood, None, True),
    ]
    position = np.array([[[0.0, 0.0, 0.019], [0.0, 0.0, 0.0]]])  # 1 mm into the plate
    quaternion = np.tile([1.0, 0.0, 0.0, 0.0], (1, 2, 1))
    depth, _ = deepest_overlap(bodies, position, quaternion)
    assert depth == pytest.approx(1e-3, abs=1e-9)
