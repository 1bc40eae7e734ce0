"""Poses as typed, and where a part may be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import snapsim
from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import set_down
from snapsim.page.bench import Source
from snapsim.page.fields import as_typed
from snapsim.page.pose import TypedPose, quaternion_of, turns_of, typed
from snapsim.page.spacing import at_gap, kept_on_joints
from snapsim.page.triggers import Desk

SCENES = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize(
    "turns", [(10, 20, 30), (-170, 80, 5), (0, 90, 0), (25, -90, 0), (0, 0, 0)]
)
def test_turns_about_x_then_y_then_z_are_scipys_extrinsic_angles(turns) -> None:
    angles = np.radians(turns)
    w, x, y, z = quaternion_of(angles)
    # Rotation.from_euler, lower case: extrinsic, scipy.spatial.transform's documentation
    theirs = Rotation.from_euler("xyz", angles).as_matrix()
    np.testing.assert_allclose(Rotation.from_quat([x, y, z, w]).as_matrix(), theirs, atol=1e-12)
    np.testing.assert_allclose(turns_of(np.array([w, x, y, z])), angles, atol=1e-7)


def test_the_commands_of_a_pose_bring_the_part_to_that_pose(scene: Path) -> None:
    place = Place(np.array([0.0123456789, -0.02, -0.05]), quaternion_of(np.radians([12, -34, 56])))
    pose = typed(place)
    system = snapsim.load_scene(scene, pose.changes("disc"))
    np.testing.assert_allclose(system.start.pose.position[1], place.position, atol=1e-9)
    turn = abs(system.start.pose.quaternion[1] @ place.quaternion)
    assert turn == pytest.approx(1.0, abs=1e-14)
    shown = pose.place
    np.testing.assert_array_equal(system.start.pose.position[1], shown.position)


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [("x", "12 oz", "length"), ("y", "3 kg", "length"), ("about_z", "4 mm", "angle"),
     ("z", "11 m", "within 10 m"), ("about_x", "", "angle"), ("w", "1 mm", "fields are x, y, z"),
     ("about_", "1 deg", "fields are")],
)  # fmt: skip
def test_a_bad_field_of_a_pose_is_named_in_one_line(field: str, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        TypedPose((0, 0, 0), (0, 0, 0)).with_field(field, text)
    assert caught.value.key == field
    assert said in caught.value.message
    assert "\n" not in caught.value.message


@pytest.mark.parametrize(
    ("position", "quaternion", "said"),
    [([0, 0], [1, 0, 0, 0], "must be 3 numbers"), ([0, 0, 0], [1, 0], "must be 4 numbers"),
     ([0, 0, 0], [0, 0, 0, 0], "is no rotation"), ([0, 0, 0], [1, float("inf"), 0, 0], "must be 4"),
     ([0, "a", 0], [1, 0, 0, 0], "be a valid number"), ([0, 0, -0.06], [0, 0, 1e300, 0], None)],
)  # fmt: skip
def test_a_pose_that_is_none_is_refused_in_words(scene, position, quaternion, said) -> None:
    source = Source(scene.read_text(), str(scene))
    desk = Desk(source)
    try:
        answer = desk.move("tab", position, quaternion)
    finally:
        desk.close()
    if said is None:  # squares beyond the range of numbers: half a turn about y all the same
        assert np.abs(answer["pose"]["quaternion"]) == pytest.approx([0, 0, 1, 0])
    else:
        assert said in answer["error"]["message"]
        assert said != "be a valid number" or answer["error"]["key"] == "position.1"
        assert "unexpected" not in answer["error"]["message"]


@pytest.mark.parametrize("height", [-0.06, -0.1])  # clear of the table, and sunk into it
def test_a_part_is_set_down_to_just_touch_what_lies_under_it(scene: Path, height: float) -> None:
    system = snapsim.load_scene(scene)
    start = system.start.pose
    place = set_down(system, 1, Place(np.array([0, 0, height]), start.quaternion[1]))
    # a disc of 60 x 12 mm turned by 75 deg reaches down 30 sin 75 + 6 cos 75 mm; table top at -110
    half = 0.03 * np.sin(np.radians(75)) + 0.006 * np.cos(np.radians(75))
    assert place.position[2] == pytest.approx(-0.11 + half, abs=2e-7)


def test_a_part_is_brought_to_a_gap_straight_before_the_magnet(scene: Path) -> None:
    system = snapsim.load_scene(scene)
    start = system.start.pose
    place = at_gap(system, 1, Place(start.position[1], start.quaternion[1]), 0.02)
    half = 0.03 * np.sin(np.radians(75)) + 0.006 * np.cos(np.radians(75))
    assert place.position[2] == pytest.approx(-0.02 - half, abs=1e-8)  # the pole face is z = 0
    with pytest.raises(InputError, match="no place"):
        at_gap(system, 1, place, 5.0)


def test_a_hinged_part_stays_on_its_hinge() -> None:
    system = snapsim.load_scene(SCENES / "bar-on-a-hinge.toml")
    part = system.number("bar")
    pose = system.start.pose
    constraints = Constraints(system, part)
    pulled = Place(pose.position[part] + [-0.04, 0.02, 0.01], pose.quaternion[part])
    kept = kept_on_joints(constraints, pulled)
    limits = constraints.limits(kept, 1e-4)
    assert np.abs(limits.misfit).max() < 1e-8
    assert np.linalg.norm(kept.position - pose.position[part]) > 0.01


@pytest.mark.parametrize(
    ("text", "field", "said"),
    [("60", "x", 60.0), ('"60 mm"', "x", 60.0), ("6 cm", "x", 60.0), ("'30'", "about_y", 30.0)],
)
def test_a_plain_number_has_the_field_s_unit_and_quotes_do_no_harm(text, field, said) -> None:
    found = typed(Place(np.zeros(3), quaternion_of(np.zeros(3)))).with_field(field, text)
    values = found.turns if field.startswith("about") else found.position
    assert values["xyz".index(field[-1])] == pytest.approx(said)


@pytest.mark.parametrize(
    ("text", "shown", "taken"),
    [("60", "80 mm", "60 mm"), ("60", "0.3", "60"), ("-z", "+z", "-z"), ("5 cm", "80 mm", "5 cm"),
     ("60", "0, 0, 15 mm", "60")],
)  # fmt: skip
def test_a_number_typed_over_a_quantity_keeps_its_unit(text, shown, taken) -> None:
    assert as_typed(text, shown) == taken
