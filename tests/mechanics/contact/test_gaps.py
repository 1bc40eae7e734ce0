"""Gaps between pairs of shapes: by hand, by proof for convex pairs, by sampling for bores.

By hand: elementary geometry, worked out beside each case. By proof: weak duality of the distance
of convex sets (Boyd & Vandenberghe, Convex Optimization, 2004, section 8.2, from memory): if two
points p, q of the bodies satisfy |p - q| = g and a unit n gives a clearance g between the bodies'
supporting planes, then g is the distance.
"""

import numpy as np
import pytest
from contact_reference import (
    SHAPES,
    bodies,
    geometry,
    hull_support,
    outside_distance,
    pose,
    random_quaternion,
    surface_samples,
    turn,
)
from scipy.optimize import minimize

from snapsim.mechanics.contact import ContactGeometry
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere
from snapsim.parts.surfaces import SurfacePair, SurfaceRules

ROUNDING = 1e-15  # a few units in the last place of lengths of 0.1 m
R2, R3 = np.sqrt(2), np.sqrt(3)
X, Y, Z = np.eye(3)
BLOCK = Box((0.2, 0.1, 0.04))
DISC = Cylinder(0.06, 0.01)
RING = Ring(0.1, 0.03, 0.02)
BY_HAND = {
    "ball over ball: centres 5-12-13": (
        (Sphere(0.02), (0.05, 0.12, 0)),
        (Sphere(0.04), (0, 0, 0)),
        0.13 - 0.03,
    ),
    "ball over a face": ((Sphere(0.02), (0.03, -0.02, 0.1)), (BLOCK, (0, 0, 0)), 0.1 - 0.03),
    "ball off an edge, 3-4-5": ((Sphere(0.02), (0.13, 0, 0.06)), (BLOCK, (0, 0, 0)), 0.05 - 0.01),
    "ball off a corner, 1-2-2": (
        (Sphere(0.02), (0.11, 0.07, 0.04)),
        (BLOCK, (0, 0, 0)),
        0.03 - 0.01,
    ),
    "faces": ((BLOCK, (0.05, 0.02, 0.043)), (BLOCK, (0, 0, 0)), 0.003),
    # half the box's face diagonal, (0.02 + 0.05)/sqrt 2, reaches down from its centre
    "edge down on a face": (
        (BLOCK, (0, 0, 0.1), turn(X, 45)),
        (BLOCK, (0, 0, 0)),
        0.1 - 0.07 / R2 - 0.02,
    ),
    # the two ridges cross at right angles, 0.07/sqrt 2 and 0.12/sqrt 2 from the centres
    "edges crossed": (
        (BLOCK, (0, 0, 0.15), turn(X, 45)),
        (BLOCK, (0, 0, 0), turn(Y, 45)),
        0.15 - 0.07 / R2 - 0.12 / R2,
    ),
    # a cube on its corner reaches half its space diagonal down
    "corner down on a face": (
        (
            Box((0.02,) * 3),
            (0, 0, 0.05),
            rotations.multiply(turn(Y, np.degrees(np.arctan(R2))), turn(Z, 45)),
        ),
        (BLOCK, (0, 0, 0)),
        0.03 - 0.01 * R3,
    ),
    "disc on edge over a face": (
        (DISC, (0.02, 0, 0.06), turn(Y, 90)),
        (BLOCK, (0, 0, 0)),
        0.06 - 0.03 - 0.02,
    ),
    # lowest rim point of a disc tilted by 30 deg: 0.03 sin 30 + 0.005 cos 30 below the centre
    "tilted disc over a face": (
        (DISC, (0, 0, 0.06), turn(Y, 30)),
        (BLOCK, (0, 0, 0)),
        0.04 - 0.015 - 0.0025 * R3,
    ),
    # disc edge-on against the block's upright edge: 3-4-5 from axis to edge
    "disc wall beside an upright edge": (
        (DISC, (0.13, 0.09, 0), turn(Z, 17)),
        (BLOCK, (0, 0, 0)),
        0.05 - 0.03,
    ),
    "parallel rods": (
        (Cylinder(0.01, 0.1), (0.03, 0.04, 0.05)),
        (Cylinder(0.02, 0.1), (0, 0, 0)),
        0.035,
    ),
    "rods crossed askew": (
        (Cylinder(0.01, 0.2), (0, 0, 0.04), turn(Y, 90)),
        (Cylinder(0.02, 0.2), (0.01, 0, 0), turn(X, 60)),
        0.04 * R3 / 2
        - 0.015,  # axes x and (0, -sin 60, cos 60): their common normal is 60 deg off z
    ),
    # rims of equal radius in one plane's normal: end faces 0.01 apart, radial clearance 0.1 - 0.06
    "rim to rim": ((DISC, (0.1, 0, 0.02)), (DISC, (0, 0, 0)), np.hypot(0.04, 0.01)),
    "ball in a bore": ((Sphere(0.02), (0.003, 0, 0.004)), (RING, (0, 0, 0)), 0.015 - 0.013),
    # ball centre 0.02 above the ring's face on the axis; rim at (0.015, 0.02): hypotenuse 0.025
    "ball above a bore": ((Sphere(0.04), (0, 0, 0.03)), (RING, (0, 0, 0)), 0.025 - 0.02),
    "straight peg in a bore": (
        (Cylinder(0.028, 0.1), (0.0004, 0.0003, 0)),
        (RING, (0, 0, 0)),
        0.001 - 0.0005,
    ),
    # peg tilted by a about the bore's centre: bore rim to peg axis, 0.015 cos a - 0.01 sin a
    "tilted peg in a bore": (
        (Cylinder(0.026, 0.2), (0, 0, 0), turn(Y, 3)),
        (RING, (0, 0, 0)),
        0.015 * np.cos(np.pi / 60) - 0.01 * np.sin(np.pi / 60) - 0.013,
    ),
    "square bar in a bore: its edges": (
        (Box((0.02, 0.02, 0.1)), (0, 0, 0), turn(Z, 20)),
        (RING, (0, 0, 0)),
        0.015 - 0.01 * R2,
    ),
    "nut on a rod": (
        (HexNut(0.03, 0.017, 0.014), (0.0002, 0, 0.01)),
        (Cylinder(0.016, 0.2), (0, 0, 0)),
        0.0005 - 0.0002,
    ),
    "ring flat on ring, bores aside": ((RING, (0.06, 0.01, 0.0205)), (RING, (0, 0, 0)), 0.0005),
    "nut's flat beside a face": (
        (HexNut(0.03, 0.016, 0.014), (0, 0.07, 0)),
        (BLOCK, (0, 0, 0)),
        0.07 - 0.05 - 0.015,
    ),
    "nut's corner beside a face": (
        (HexNut(0.03, 0.016, 0.014), (0.13, 0, 0)),
        (BLOCK, (0, 0, 0)),
        0.03 - 0.03 / R3,
    ),
}


@pytest.mark.parametrize("case", BY_HAND)
@pytest.mark.parametrize("swapped", [False, True])
def test_gaps_worked_out_by_hand(case, swapped):
    a, b, gap = BY_HAND[case]
    if swapped:
        a, b = b, a
    found = geometry(a[0], b[0]).gaps(pose(a[1:] if len(a) > 2 else a[1], _place(b)))
    assert found == pytest.approx([gap], abs=ROUNDING)


def _place(entry):
    return entry[1:] if len(entry) > 2 else entry[1]


def random_pair(rng, shapes, near, far):
    """A random pair of shapes and its pose; centres `near` to `far` times the sizes apart."""
    i, j = rng.integers(0, len(shapes), 2)
    size = sum(np.linalg.norm(shapes[k].extents) for k in (i, j))
    offset = rng.normal(size=3)
    offset *= rng.uniform(near, far) * size / np.linalg.norm(offset)
    where = pose((offset, random_quaternion(rng)), (0 * offset, random_quaternion(rng)))
    return shapes[i], shapes[j], where


def nearest_contact(a, b, where):
    """Gap, normal and the two surface points of the nearest contact."""
    g = geometry(a, b)
    gap = float(g.gaps(where)[0])
    found = g.contacts(where, gap + 1e-9)
    k = int(np.argmin(found.gap))
    n, half = found.normal[k], found.gap[k] / 2
    return gap, n, found.point[k] + half * n, found.point[k] - half * n


def into_body(where, k, x):
    return rotations.rotate_back(where.quaternion[k], np.atleast_2d(x) - where.position[k])


def test_gaps_of_convex_hulls_are_proved_by_a_separating_slab():
    rng = np.random.default_rng(3)
    proved = 0
    for _ in range(600):
        a, b, where = random_pair(rng, SHAPES, 0.3, 1.5)
        if geometry(a, b).gaps(where)[0] < 1e-5:
            continue
        gap, n, p, q = nearest_contact(a, b, where)
        clear = (where.position[0] - where.position[1]) @ n
        clear -= hull_support(a, rotations.rotate_back(where.quaternion[0], -n))
        clear -= hull_support(b, rotations.rotate_back(where.quaternion[1], n))
        if clear < gap - 1e-5 and (isinstance(a, Ring | HexNut) or isinstance(b, Ring | HexNut)):
            continue  # reaches into a bore: no slab exists; see the sampled test
        on_a = outside_distance(a, into_body(where, 0, p))[0]
        on_b = outside_distance(b, into_body(where, 1, q))[0]
        proved += 1
        # 1e-9 of the sizes is what is promised; rounding leaves ten thousand times less
        assert clear == pytest.approx(gap, abs=1e-13)
        assert max(on_a, on_b) < 1e-13
        assert np.linalg.norm(p - q) == pytest.approx(gap, abs=1e-13)
    assert proved > 400


@pytest.mark.parametrize("seed", range(6))
def test_gaps_of_blocks_agree_with_constrained_minimisation(seed):
    # scipy's SLSQP over the two points, stopping at 1e-16 of the squared distance
    rng = np.random.default_rng(seed)
    a, b, where = random_pair(rng, SHAPES[:2], 0.8, 1.3)
    turns = rotations.matrix(where.quaternion)

    def squared(uv):
        p = where.position[0] + turns[0] @ uv[:3]
        return np.sum((p - where.position[1] - turns[1] @ uv[3:]) ** 2) * 1e3

    box = [(-e, e) for e in np.concatenate([a.extents, b.extents])]
    found = minimize(squared, np.zeros(6), bounds=box, method="SLSQP", tol=1e-16)
    gap = geometry(a, b).gaps(where)[0]
    assert gap > 0
    assert gap == pytest.approx(np.sqrt(found.fun / 1e3), rel=2e-6)


def test_gaps_at_bores_lie_between_samples_and_their_spacing():
    """Sampled surface points of each body to the other: never nearer, and hardly farther."""
    rng = np.random.default_rng(4)
    tubes = (Ring(0.02, 0.012, 0.05), Ring(0.2, 0.09, 0.03), HexNut(0.05, 0.04, 0.01))
    inner = (*tubes, Box((0.012, 0.008, 0.1)), Cylinder(0.008, 0.15), Sphere(0.01))
    samples = {s: surface_samples(s, rng, 20_000) for s in inner}
    checked = 0
    for _ in range(1200):
        a, b = inner[rng.integers(6)], tubes[rng.integers(3)]
        bore = b.bore if isinstance(b, HexNut) else b.inner_diameter
        offset = rng.normal(size=3) * (bore / 4, bore / 4, b.length / 2)
        tilt = rotations.from_rotation_vector(rng.normal(size=3) * rng.choice([0.1, 2]))
        where = pose((offset, tilt), (0, 0, 0))
        gap = geometry(a, b).gaps(where)[0]
        if gap <= 0 or checked > 120:
            continue
        checked += 1
        p = into_body(where, 1, rotations.rotate(tilt, samples[a]) + offset)
        q = into_body(where, 0, samples[b])
        sampled = min(outside_distance(b, p).min(), outside_distance(a, q).min())
        assert sampled >= gap - 1e-13
        assert sampled <= gap + 2e-4  # measured worst 4e-5; spacing of the samples is about 1e-3
    assert checked > 60


def test_overlap_is_found_where_no_edge_of_either_tube_is_inside_the_other():
    tube = Ring(0.02, 0.012, 0.05)
    where = pose(([0.0004, -0.0013, 0], turn(X, 60)), (0, 0, 0))
    assert geometry(tube, tube).gaps(where)[0] < -1e-4


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.kind)
def test_two_bodies_in_the_same_place_overlap_by_their_thickness(shape):
    # parting them along the shortest way: the least width. Where there is a bore a descent looks
    # for it, and finds that nuts part sooner, wall past wall: not less than that at a flat, 7 mm
    gap = geometry(shape, shape).gaps(pose((0, 0, 0), (0, 0, 0)))[0]
    if isinstance(shape, HexNut):
        assert -0.009 < gap < -0.007
    else:
        within = 1e-3 if isinstance(shape, Ring) else 1e-12
        assert gap == pytest.approx(-2 * min(shape.extents), rel=within)


@pytest.mark.parametrize("depth", [0, 1e-9, 1e-6, 1e-3])
@pytest.mark.parametrize("aside", [0, 1e-9, 1e-4])
def test_blocks_pressed_into_each_other_have_the_depth_as_gap(depth, aside):
    where = pose((aside, 0, 0.04 - depth), (0, 0, 0))
    assert geometry(BLOCK, BLOCK).gaps(where)[0] == pytest.approx(-depth, abs=ROUNDING)


def test_planks_crossed_in_one_plane_overlap_by_their_thickness():
    plank = Box((0.2, 0.01, 0.003))
    where = pose(([0, 0, 0], turn(Z, 90)), (0, 0, 0))
    assert geometry(plank, plank).gaps(where)[0] == pytest.approx(-0.003, abs=ROUNDING)


@pytest.mark.parametrize("step", [1e-3, 1e-6, 1e-9, 1e-12, 0, -1e-12, -1e-9, -1e-6, -1e-3])
def test_crossed_edges_pass_smoothly_from_gap_to_depth(step):
    a, b, gap = BY_HAND["edges crossed"]
    height = 0.15 - gap + step
    found = geometry(BLOCK, BLOCK).gaps(pose(([0, 0, height], a[2]), ([0, 0, 0], b[2])))
    assert found == pytest.approx([step], abs=ROUNDING)


def test_the_air_gap_of_a_pair_is_taken_off():
    rules = SurfaceRules(SurfacePair(air_gap=1e-4), {(0, 2): SurfacePair(air_gap=3e-4)})
    g = ContactGeometry(bodies(Sphere(0.02), Sphere(0.02), BLOCK), rules)
    where = pose((0, 0, 0.05), (0.05, 0, 0.05), (0, 0, 0))
    assert g.pairs.tolist() == [[0, 1], [0, 2], [1, 2]]
    assert g.gaps(where) == pytest.approx([0.03 - 1e-4, 0.02 - 3e-4, 0.02 - 1e-4], abs=ROUNDING)
    assert g.contacts(where, 0.0198).gap == pytest.approx([0.0197], abs=ROUNDING)


def test_two_fixed_bodies_make_no_pair():
    both = [bodies(BLOCK)[0], bodies(DISC)[0]]
    g = ContactGeometry(both, SurfaceRules())
    assert len(g.pairs) == 0
    assert len(g.gaps(pose((0, 0, 0), (0, 0, 0)))) == 0
    assert len(g.contacts(pose((0, 0, 0), (0, 0, 0)), 1.0)) == 0


def test_bounds_never_exceed_the_gaps():
    rng = np.random.default_rng(5)
    shapes = (*SHAPES, Ring(0.2, 0.09, 0.03))
    tight = 0
    for _ in range(500):
        a, b, where = random_pair(rng, shapes, 0.0, 2.0)
        g = geometry(a, b)
        gap, bound = g.gaps(where)[0], g.gap_bounds(where)[0]
        assert bound <= gap + 1e-14
        tight += bound > 0.5 * gap > 0
    assert tight > 200  # and they are of use


def test_turning_the_laboratory_or_swapping_the_bodies_changes_nothing():
    rng = np.random.default_rng(6)
    for _ in range(300):
        a, b, where = random_pair(rng, SHAPES, 0.0, 1.2)
        gap = geometry(a, b).gaps(where)[0]
        swapped = pose(*zip(where.position[::-1], where.quaternion[::-1], strict=True))
        whole = random_quaternion(rng)
        turned = pose(
            *zip(
                rotations.rotate(whole, where.position) + 0.3,
                rotations.multiply(whole, where.quaternion),
                strict=True,
            )
        )
        if gap > 0:
            assert geometry(b, a).gaps(swapped)[0] == pytest.approx(gap, abs=1e-13)
            assert geometry(a, b).gaps(turned)[0] == pytest.approx(gap, abs=1e-13)
        else:
            assert geometry(b, a).gaps(swapped)[0] <= 0
            assert geometry(a, b).gaps(turned)[0] <= 1e-13
