"""A small sound scene that tests spoil in one place each."""

import pytest

from snapsim.scenario.loading import scene_from_text

SCENE = """
title = "Invented scene for the tests"

[[body]]
name = "magnet"
shape = { kind = "box", size = "120 x 80 x 40 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 20 mm"
fixed = true

[[body]]
name = "blank"
shape = { kind = "ring", outer_diameter = "110 mm", inner_diameter = "26 mm", length = "18 mm" }
material = "grey cast iron"
position = "0, 0, -75 mm"
rotation = { axis = "y", angle = "70 deg" }

[[body]]
name = "table"
shape = { kind = "box", size = "500 x 400 x 30 mm" }
material = "oak"
position = "0, 0, -148 mm"
fixed = true

[contact]
restitution = 0.3

[[contact.pair]]
between = ["blank", "oak"]
friction = 0.5

[run]
duration = "0.5 s"
"""


@pytest.fixture
def scene_text():
    """The TOML of the scene."""
    return SCENE


@pytest.fixture
def read():
    """Read TOML text with changes; errors name scene.toml."""

    def reader(text=SCENE, *changes):
        return scene_from_text(text, "scene.toml", changes)

    return reader


@pytest.fixture
def complaint(read):
    """The one line said about the scene after replacing `old` by `new` in it."""
    from snapsim.errors import InputError

    def say(old, new):
        assert old in SCENE
        with pytest.raises(InputError) as caught:
            read(SCENE.replace(old, new, 1))
        line = str(caught.value)
        assert "\n" not in line
        assert line.startswith("scene.toml: ")
        return line

    return say
