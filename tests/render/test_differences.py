"""Runs abreast are headed by what sets them apart."""

from dataclasses import replace

from snapsim.render.differences import differences

SCENE = """
title = "{title}"
[[body]]
name = "blank"
position = "0, 0, 8 mm"
[body.rotation]
axis = "y"
angle = "{angle}"
[run]
duration = "{duration}"
"""


def told(system, *scenes, changes=()):
    systems = [replace(system, source=scene) for scene in scenes]
    for k, change in changes:
        systems[k] = replace(systems[k], extra={"changes": change})
    return differences(systems)


def scene(angle="50 deg", title="A", duration="1 s"):
    return SCENE.format(angle=angle, title=title, duration=duration)


def test_the_author_s_own_key_and_value_are_told(system):
    found = told(system, scene("50 deg"), scene("38 deg", title="B"))
    assert found == ["blank rotation angle 50 deg", "blank rotation angle 38 deg"]


def test_a_change_from_the_command_line_counts(system):
    change = 'body.blank.rotation.angle="38 deg"'
    assert told(system, scene(), scene(), changes=[(1, change)]) == [
        "blank rotation angle 50 deg",
        "blank rotation angle 38 deg",
    ]


def test_like_scenes_and_scenes_made_in_code_have_no_heading(system):
    assert told(system, scene(), scene(title="B")) == ["", ""]
    assert told(system, "", "not = = toml") == ["", ""]


def test_more_than_two_differences_are_counted(system):
    more = scene("38 deg", duration="2 s").replace("8 mm", "9 mm") + 'detail = "fine"\n'
    assert told(system, scene(), more)[1].endswith(" and 2 more")


def test_one_number_of_three_is_told_of_both():
    from snapsim.render.differences import _component

    assert _component("0, 0, 20 mm", "z") == "20 mm"
    assert _component("1, -2.5, 0 mm", "y") == "-2.5 mm"
    assert _component(None, "x") is None
