"""Joints in a scene file: what is read, and what is refused with one clear line."""

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.mechanics.joints import Ball, Hinge, Hold, Slide, String
from snapsim.scenario.loading import scene_from_text

SCENE = """
title = "Invented scene for the tests"

[[body]]
name = "beam"
shape = { kind = "box", size = "400 x 40 x 40 mm" }
material = "oak"
position = "0, 0, 300 mm"
fixed = true

[[body]]
name = "bar"
shape = { kind = "box", size = "200 x 20 x 10 mm" }
material = "low-carbon steel"
position = "0, 0, 100 mm"

[[joint]]
"""

GOOD = {
    "string": """kind = "string"
between = ["bar", "beam"]
at = ["0, 0, 5 mm", "0, 0, -20 mm"]
length = "180 mm"
breaking_load = "50 N"
""",
    "hinge": """kind = "hinge"
name = "pin"
between = ["bar", "world"]
at = ["-110, 0, 0 mm", "-110, 0, 100 mm"]
axis = "y"
stops = ["-30 deg", "90 deg"]
friction_torque = "0.01 N m"
""",
    "ball": """kind = "ball"
between = ["bar", "beam"]
at = ["0, 0, 30 mm", "0, 0, -170 mm"]
""",
    "slide": """kind = "slide"
between = ["bar", "beam"]
at = ["10, 0, 0 mm", "-20, 0, -200 mm"]
axis = "x"
stops = ["0 mm", "80 mm"]
friction = 0.1
""",
    "hold": """kind = "hold"
between = ["bar", "world"]
at = ["100, 0, 0 mm", "100, 0, 100 mm"]
until = "0.4 s"
force_limit = "50 N"
path = [{ time = "0.2 s", position = "0, 50, 100 mm", rotation = { axis = "z", angle = "20 deg" } }]
""",
}


def read(joint):
    return scene_from_text(SCENE + joint, "scene.toml")


def test_a_string_is_read_and_named_after_its_ends():
    (joint,) = read(GOOD["string"]).joints
    assert isinstance(joint, String)
    assert (joint.name, joint.bodies) == ("string: bar - beam", (1, 0))
    assert (joint.length, joint.force_limit, joint.restitution) == (0.18, 50.0, 0.0)


def test_hinge_slide_hold_and_ball_are_read():
    kinds = ("hinge", "slide", "hold", "ball")
    pin, rail, hand, ball = (read(GOOD[kind]).joints[0] for kind in kinds)
    assert isinstance(pin, Hinge)
    assert isinstance(rail, Slide)
    assert isinstance(hand, Hold)
    assert isinstance(ball, Ball)
    assert (pin.name, pin.bodies, pin.friction_torque) == ("pin", (1, -1), 0.01)
    assert pin.stops == pytest.approx(np.radians([-30, 90]))
    assert (rail.stops, rail.friction) == ((0.0, 0.08), 0.1)
    assert hand.times == (0.4, 0.0, 0.2)
    assert hand.position[1] == pytest.approx([0, 0.05, 0.1])


@pytest.mark.parametrize(
    ("kind", "old", "new", "said"),
    [
        ("string", '"180 mm"', '"150 mm"', "length: is 150 mm, but its ends start 175 mm apart"),
        ("string", '"180 mm"', '"0 mm"', "must be greater than 0"),
        ("string", '["bar", "beam"]', '["beam", "world"]', "never move"),
        ("string", '["bar", "beam"]', '["bar", "boom"]', '"boom" is not known'),
        ("hinge", '"-110, 0, 100 mm"', '"-110, 0, 99 mm"', "start 1 mm apart"),
        ("hinge", '"-30 deg", "90 deg"', '"30 deg", "90 deg"', "do not hold its start"),
        ("hinge", 'name = "pin"', 'name = "beam"', "taken by a body"),
        ("slide", '"-20, 0, -200 mm"', '"-20, 3, -200 mm"', "start 3 mm apart"),
        ("slide", '"0 mm", "80 mm"', '"80 mm", "0 mm"', "out of order"),
        ("slide", '"0 mm", "80 mm"', '"40 mm", "80 mm"', "do not hold its start at 30 mm"),
        ("ball", '"0, 0, 30 mm"', '"0, 0, 31 mm"', "the two points of a ball joint must meet"),
        ("hold", '["bar", "world"]', '["world", "bar"]', "name the free part first"),
        ("hold", 'time = "0.2 s"', 'time = "0 s"', "times do not rise"),
        ("hold", '"100, 0, 100 mm"', '"100, 0, 101 mm"', "start 1 mm apart"),
    ],
)
def test_a_joint_that_misfits_is_refused_in_one_line(kind, old, new, said):
    assert GOOD[kind].count(old) == 1
    with pytest.raises(InputError) as caught:
        read(GOOD[kind].replace(old, new))
    text = str(caught.value)
    assert said in text
    assert "joint" in text
    assert "\n" not in text


@pytest.mark.parametrize("kind", list(GOOD))
def test_the_filled_in_scene_gives_the_same_joint_again(kind):
    first = read(GOOD[kind])
    again = scene_from_text(first.resolved, "run").joints[0]
    for field, value in vars(first.joints[0]).items():
        assert np.array_equal(getattr(again, field), value), field
