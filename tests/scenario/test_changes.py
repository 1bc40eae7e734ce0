"""`--set key=value` changes one key before the scene is checked."""

import numpy as np
import pytest

from snapsim.errors import InputError


def test_an_angle_of_a_body_by_name(read, scene_text):
    system = read(scene_text, 'body.blank.rotation.angle="55 deg"')
    half = np.radians(27.5)
    np.testing.assert_allclose(
        system.start.pose.quaternion[1], [np.cos(half), 0, np.sin(half), 0], atol=1e-16
    )


@pytest.mark.parametrize(
    ("change", "look", "expected"),
    [
        ("run.duration=2 s", lambda s: s.duration, 2.0),
        ('run.duration = "2 s"', lambda s: s.duration, 2.0),
        ("run.detail=fine", lambda s: s.detail, "fine"),
        ("contact.friction=0.7", lambda s: s.surfaces.default.friction, 0.7),
        ("contact.pair[1].friction=0.1", lambda s: s.surfaces.pair(1, 2).friction, 0.1),
        ("body.magnet.shape.size=60 x 60 x 30 mm", lambda s: s.bodies[0].shape.size[0], 0.06),
        ("body[1].shape.size=60 x 60 x 30 mm", lambda s: s.bodies[0].shape.size[2], 0.03),
        ("body.magnet.fixed=false", lambda s: s.bodies[0].fixed, False),
        ("body.blank.velocity=0, 0, 1 m/s", lambda s: s.start.velocity[1, 2], 1.0),
        ("gravity=0, 0, -1 m/s^2", lambda s: s.gravity[2], -1.0),
        ("title=Another", lambda s: s.title, "Another"),
        ("body.blank.material=ductile iron", lambda s: s.bodies[1].material.name, "ductile iron"),
    ],
)
def test_one_key_is_changed(change, look, expected, read, scene_text):
    assert look(read(scene_text, change)) == expected
    assert look(read()) != expected


def test_a_key_can_be_set_in_a_table_that_is_not_there(read, scene_text):
    text = scene_text.split("[contact]")[0]
    assert read(text, "run.duration=2 s").duration == 2.0
    assert read(text, "contact.air_gap=1 mm").surfaces.default.air_gap == 0.001


def test_a_name_with_a_dot_stands_in_quotes(read, scene_text):
    text = scene_text.replace('name = "table"', 'name = "no. 3 [oak]"')
    system = read(text, 'body."no. 3 [oak]".fixed=false')
    assert system.bodies[2].fixed is False


def test_a_list_of_turns_is_addressed_by_number(read, scene_text):
    turns = '[{ axis = "z", angle = "0 deg" }, { axis = "y", angle = "10 deg" }]'
    text = scene_text.replace('{ axis = "y", angle = "70 deg" }', turns)
    system = read(text, "body.blank.rotation[2].angle=70 deg")
    np.testing.assert_allclose(
        system.start.pose.quaternion[1], read().start.pose.quaternion[1], atol=1e-16
    )


def test_changes_are_kept_in_the_resolved_scene_but_not_in_the_source(read, scene_text):
    system = read(scene_text, "run.duration=2 s")
    assert 'duration = "2.0 s"' in system.resolved
    assert system.source == scene_text
    assert system.extra == {"changes": "run.duration=2 s"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("bdoy.blank.fixed=true", ["bdoy", 'did you mean "body"?']),
        ("body.blnk.fixed=true", ["--set body.blnk.fixed", '"blnk"', 'did you mean "blank"?']),
        ("body.blank.fixde=true", ["body.blank.fixde", 'did you mean "fixed"?']),
        ("body[7].fixed=true", ["number 7", "1 to 3"]),
        ("run.duration.unit=s", ["--set run.duration.unit", "no", "0.5 s"]),
        ("body.blank=3", ["body[2]", "3 is no table"]),
        ("body=3", ["body is a list", "magnet"]),
        ("joint.cord.length=1 m", ["joint"]),
        ("run.duration=5", ["run.duration", "no unit"]),
        ("run.duration=nan s", ["run.duration", "finite"]),
        ("contact.friction=-1", ["contact.friction"]),
        ("run.duration", ["--set", "key=value"]),
        ("=5", ["--set", "key=value"]),
        ("body..x=5", ["--set", "no key"]),
        ("contact.pair[2].friction=0.1", ["number 2", "1 to 1"]),
        ("hand[1].gap=2 mm", ["hand"]),
    ],
)
def test_an_unknown_path_is_an_error_naming_what_is_there(change, said, read, scene_text):
    with pytest.raises(InputError) as caught:
        read(scene_text, change)
    for words in said:
        assert words in str(caught.value), str(caught.value)
    assert "\n" not in str(caught.value)
