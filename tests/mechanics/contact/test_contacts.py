"""Contact points, normals and their rates: patches worked out by hand, rates by differences."""

import numpy as np
import pytest
from contact_reference import SHAPES, geometry, pose, random_quaternion, turn
from hypothesis import given, settings
from hypothesis import strategies as st

from snapsim.mechanics.contact import separation_rate
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere

TABLE = Box((0.4, 0.3, 0.04))
REACH = 1e-6
X, Y, Z = np.eye(3)
ORIGIN = (0, 0, 0)


def patch(a, b, where_a, where_b=ORIGIN, reach=REACH):
    """Contacts of two bodies, their points sorted, rounded to 1e-9 m."""
    return geometry(a, b).contacts(pose(where_a, where_b), reach)


def as_set(points):
    return {tuple(p) for p in (np.round(points, 9) + 0.0).tolist()}


@pytest.mark.parametrize("lift", [1e-7, 1e-9, 0, -1e-9, -1e-7])
def test_a_block_lying_on_a_table_touches_at_its_four_corners(lift):
    found = patch(Box((0.1, 0.08, 0.04)), TABLE, (0, 0, 0.04 + lift))
    corners = {(x, y, 0.02) for x in (0.05, -0.05) for y in (0.04, -0.04)}
    assert as_set(found.point - [0, 0, lift / 2]) == corners
    assert found.normal == pytest.approx(np.tile(Z, (4, 1)), abs=1e-9)
    assert found.gap == pytest.approx(4 * [lift], abs=1e-15)


@pytest.mark.parametrize("depth", [0, 1e-9, 1e-7])
def test_blocks_of_one_size_stacked_flush_touch_at_four_corners_facing_up(depth):
    block = Box((0.1, 0.08, 0.04))
    found = patch(block, block, (0, 0, 0.04 - depth))
    assert len(found) == 4
    assert found.normal == pytest.approx(np.tile(Z, (4, 1)), abs=1e-9)
    assert found.gap == pytest.approx(4 * [-depth], abs=1e-15)


def test_a_plate_over_the_tables_end_touches_there_and_not_beyond():
    found = patch(Box((0.2, 0.1, 0.01)), TABLE, (0.15, 0, 0.025))
    assert as_set(found.point) == {(x, y, 0.02) for x in (0.05, 0.2) for y in (0.05, -0.05)}


def test_crossed_bars_touch_at_the_four_crossings_of_their_edges():
    # bars 10 mm wide at right angles
    found = patch(Box((0.2, 0.01, 0.01)), Box((0.01, 0.3, 0.01)), (0, 0, 0.01))
    assert as_set(found.point) == {(x, y, 0.005) for x in (0.005, -0.005) for y in (0.005, -0.005)}


def test_bars_crossed_askew_touch_at_the_corners_of_the_rhombus():
    # edges y = +-w/2 turned by a meet x = +-w/2 at y = (+-w/2 sin a +- w/2)/cos a
    angle, w = np.radians(30), 0.01
    where = ([0, 0, 0.01], turn(Z, 30))
    found = patch(Box((0.2, w, 0.01)), Box((w, 0.3, 0.01)), where)
    expected = {
        (x, round((x * np.sin(angle) + s * w / 2) / np.cos(angle), 9), 0.005)
        for x in (w / 2, -w / 2)
        for s in (1, -1)
    }
    assert as_set(found.point) == expected


def test_a_disc_lying_on_a_table_touches_at_eight_points_of_its_rim():
    found = patch(Cylinder(0.1, 0.02), TABLE, (0.01, 0.02, 0.03))
    spokes = found.point - [0.01, 0.02, 0.02]
    assert len(found) == 8
    assert np.linalg.norm(spokes, axis=1) == pytest.approx(0.05, abs=1e-12)
    assert spokes.sum(axis=0) == pytest.approx(0, abs=1e-12)
    assert found.gap == pytest.approx(0, abs=1e-15)


def test_a_tilted_disc_touches_at_its_lowest_rim_point_alone():
    # at 2e-6 rad the next of eight points hangs 0.05 (1 - cos 45) 2e-6 = 29 nm higher
    tilt = np.radians(40)
    axis = [-np.sin(tilt), np.cos(tilt), 0]
    where = ([0, 0, 0.03 + 1e-7], rotations.from_axis_angle(axis, 2e-6))
    found = patch(Cylinder(0.1, 0.02), TABLE, where, reach=1e-8)
    assert len(found) == 1
    lowest = 0.05 * np.array([np.cos(tilt), np.sin(tilt), 0])
    assert found.point[0, :2] == pytest.approx(lowest[:2], abs=1e-7)


def test_a_disc_half_over_the_tables_edge_has_the_crossings_among_its_contacts():
    found = patch(Cylinder(0.1, 0.02), TABLE, (0.19, 0, 0.03))
    half = np.sqrt(0.05**2 - 0.01**2)
    crossings = {(0.2, round(half, 9), 0.02), (0.2, round(-half, 9), 0.02)}
    assert crossings <= as_set(found.point)
    assert found.point[:, 0].max() < 0.2 + 1e-9
    assert found.point[:, 0].min() < 0.15


def test_discs_lying_on_each_other_aside_include_the_crossings_of_their_rims():
    disc = Cylinder(0.1, 0.02)
    found = patch(disc, disc, (0.06, 0, 0.02))
    assert {(0.03, 0.04, 0.01), (0.03, -0.04, 0.01)} <= as_set(found.point)
    assert found.normal == pytest.approx(np.tile(Z, (len(found), 1)), abs=1e-9)


def test_a_rod_lying_over_a_block_touches_along_the_line_on_it():
    found = patch(Cylinder(0.02, 0.3), Box((0.1, 0.1, 0.04)), ([0.02, 0, 0.03], turn(Y, 90)))
    assert as_set(found.point) == {(0.05, 0, 0.02), (-0.05, 0, 0.02)}


def test_parallel_rods_touch_at_the_ends_of_their_common_stretch():
    found = patch(Cylinder(0.02, 0.1), Cylinder(0.04, 0.2), (0.03, 0, 0.07))
    assert as_set(found.point) == {(0.02, 0, 0.02), (0.02, 0, 0.1)}
    assert found.normal == pytest.approx(np.tile(X, (2, 1)), abs=1e-9)


def test_a_peg_lying_in_a_bore_touches_along_a_line_between_the_bores_ends():
    found = patch(Cylinder(0.028, 0.1), Ring(0.1, 0.03, 0.02), (0, 0.001, 0))
    assert as_set(found.point) == {(0, 0.015, 0.01), (0, 0.015, -0.01)}
    assert found.normal == pytest.approx(np.tile(-Y, (2, 1)), abs=1e-9)


def test_a_peg_wedged_askew_touches_both_ends_of_the_bore():
    # tilt about y at which 0.015 cos a - 0.01 sin a = 0.013: from the gap worked out by hand
    a = np.arccos(0.013 / np.hypot(0.015, 0.01)) - np.arctan2(0.01, 0.015)
    found = patch(Cylinder(0.026, 0.2), Ring(0.1, 0.03, 0.02), (ORIGIN, turn(Y, np.degrees(a))))
    assert len(found) == 2
    assert found.gap == pytest.approx(0, abs=1e-12)
    assert found.normal[0] == pytest.approx(-found.normal[1], abs=1e-6)


def test_a_ball_in_a_countersink_touches_all_round_the_bores_rim():
    # centre 0.02 above the face: normals from rim to centre, (-3, 0, 4)/5 turned about z
    found = patch(Sphere(0.05), Ring(0.1, 0.03, 0.02), (0, 0, 0.03))
    assert len(found) == 8
    assert found.normal[:, 2] == pytest.approx(0.8, abs=1e-9)
    assert found.normal[:, :2].sum(axis=0) == pytest.approx(0, abs=1e-9)


def test_a_nut_lying_flat_touches_at_its_six_corners():
    found = patch(HexNut(0.03, 0.016, 0.014), TABLE, (0, 0, 0.027))
    assert len(found) == 6
    assert np.linalg.norm(found.point[:, :2], axis=1) == pytest.approx(0.03 / np.sqrt(3), abs=1e-9)


def test_a_block_standing_on_one_edge_touches_at_its_two_ends():
    # the edge y = -0.05, z = -0.02 comes to lie (0.05 - 0.02)/sqrt 2 to the side
    height, side = 0.07 / np.sqrt(2) + 0.02, round(-0.03 / np.sqrt(2), 9)
    found = patch(Box((0.06, 0.1, 0.04)), TABLE, ([0, 0, height], turn(X, 45)))
    assert as_set(found.point) == {(0.03, side, 0.02), (-0.03, side, 0.02)}


def test_contacts_come_in_the_same_order_every_time():
    where = pose((0.19, 0, 0.03), ORIGIN)
    g = geometry(Ring(0.1, 0.03, 0.02), TABLE)
    first, second = g.contacts(where, REACH), g.contacts(where, REACH)
    assert np.array_equal(first.point, second.point)
    assert np.array_equal(first.gap, second.gap)


def moved(where, velocity, spin, t):
    turned = [rotations.from_rotation_vector(t * w) for w in spin]
    return pose(
        *zip(
            where.position + t * velocity,
            rotations.multiply(turned, where.quaternion),
            strict=True,
        )
    )


def test_the_gap_changes_as_the_normal_velocity_at_the_contact_says():
    """Central differences of step h: error h^2/6 of the third derivative, plus rounding/h."""
    rng = np.random.default_rng(8)
    h, checked, worst = 2e-6, 0, 0.0
    for _ in range(400):
        i, j = rng.integers(0, len(SHAPES), 2)
        a, b = SHAPES[i], SHAPES[j]
        offset = rng.normal(size=3)
        offset *= 0.8 * np.linalg.norm(a.extents + b.extents) / np.linalg.norm(offset)
        where = pose((offset, random_quaternion(rng)), (0 * offset, random_quaternion(rng)))
        velocity, spin = rng.normal(size=(2, 3)), 5 * rng.normal(size=(2, 3))
        g = geometry(a, b)
        gap = g.gaps(where)[0]
        if gap < 1e-3:
            continue
        found = g.contacts(where, gap + 1e-12)
        rate = separation_rate(where, velocity, spin, found)[np.argmin(found.gap)]
        after, before = (g.gaps(moved(where, velocity, spin, s * h))[0] for s in (1, -1))
        checked += 1
        worst = max(worst, abs(rate - (after - before) / (2 * h)))
    assert checked > 150
    assert worst < 1e-6  # m/s, of speeds of about 1 m/s


@pytest.mark.parametrize("gap", [1e-4, 1e-7, 1e-10, 0.0, -1e-10, -1e-7])
def test_normals_keep_their_sense_through_touch(gap):
    """A ridge crossing a rim: the normal hardly turns while the gap goes through zero."""
    disc, bar = Cylinder(0.06, 0.02), Box((0.2, 0.02, 0.02))
    tilt = turn([1, 1, 0], 50)
    where = ([0.002, 0.001, 0.1], tilt), (ORIGIN, turn(X, 45))
    g = geometry(disc, bar)
    low = 0.1 - g.gaps(pose(*where))[0]
    for _ in range(30):  # lower it until the wanted gap is reached
        at = pose(([0.002, 0.001, low], tilt), where[1])
        found = g.contacts(at, 1.0)
        k = np.argmin(found.gap)
        low -= (found.gap[k] - gap) / found.normal[k, 2]
    reference = g.contacts(pose(([0.002, 0.001, low + 1e-4], tilt), where[1]), 1.0)
    n = reference.normal[np.argmin(reference.gap)]
    assert found.gap[k] == pytest.approx(gap, abs=1e-14)
    assert found.gap[k] == pytest.approx(g.gaps(at)[0], abs=1e-14)
    assert found.normal[k] @ n > 0.9999


finite = st.floats(-1, 1, allow_nan=False)


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, len(SHAPES) - 1),
    st.integers(0, len(SHAPES) - 1),
    st.tuples(finite, finite, finite),
    st.tuples(finite, finite, finite),
    st.floats(0, 0.3),
)
def test_any_pose_gives_finite_gaps_and_unit_normals(i, j, direction, rotation, far):
    place = far * np.array(direction)
    where = pose((place, rotations.from_rotation_vector(3 * np.array(rotation))), ORIGIN)
    g = geometry(SHAPES[i], SHAPES[j])
    gap = g.gaps(where)[0]
    found = g.contacts(where, max(gap, 0.0) + 1e-3)
    assert np.isfinite(gap)
    assert np.isfinite(found.point).all()
    assert np.linalg.norm(found.normal, axis=1) == pytest.approx(np.ones(len(found)), abs=1e-9)
    assert np.isfinite(found.gap).all()
    if gap > 0:
        # A stretch counts as flat while its normals lean by 14 mrad at most: its ends are then
        # farther off than the nearest point by up to 1 - cos(14 mrad) = 1e-4 of the gap.
        assert gap - 1e-13 <= found.gap.min() <= gap * (1 + 1e-4) + 1e-13


@pytest.mark.parametrize("depth", [-1e-7, 0.0, 1e-9, 7e-8, 5e-7])
@pytest.mark.parametrize("degrees", [0, 17, 90])
def test_a_ring_hung_on_a_peg_touches_along_one_line_however_it_has_sunk_in(depth, degrees):
    """Sunk by a hair the two circles cross beside the line; nothing touches at the crossings."""
    ring, peg = Ring(0.06, 0.026, 0.01), Cylinder(0.018, 0.1)
    down = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), 0.0])
    found = patch(ring, peg, (0.004 + depth) * down, reach=1e-6)
    assert len(found) == 2
    assert np.sort(found.point[:, 2]) == pytest.approx([-0.005, 0.005], abs=1e-9)
    assert found.normal == pytest.approx(np.tile(-down, (2, 1)), abs=1e-6)
    assert found.gap == pytest.approx(2 * [-depth], abs=1e-12)


def test_a_ring_lying_half_off_a_pins_end_touches_where_the_rims_cross_too():
    """Faces that overlap in part still end where their rims cross."""
    found = patch(Ring(0.06, 0.02, 0.01), Cylinder(0.05, 0.03), (0.015, 0, 0.02))
    assert found.normal == pytest.approx(np.tile(Z, (len(found), 1)), abs=1e-9)
    across = np.linalg.norm(found.point[:, :2], axis=1)
    assert across.max() == pytest.approx(0.025, abs=1e-9)
    crossings = np.isclose(np.linalg.norm(found.point[:, :2] - [0.015, 0], axis=1), 0.03)
    assert (crossings & np.isclose(across, 0.025)).sum() == 2
