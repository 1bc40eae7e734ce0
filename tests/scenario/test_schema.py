"""The printed JSON Schema, judged by an independent implementation of the standard
(JSON Schema draft 2020-12; the jsonschema package)."""

import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from snapsim.scenario.schema import scene_schema
from snapsim.scenario.starter import STARTER

ALL = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
SCENES = [p for p in ALL if p.suffixes == [".toml"]]


@pytest.fixture(scope="module")
def validator():
    return Draft202012Validator(scene_schema())


def test_the_schema_is_a_sound_schema():
    Draft202012Validator.check_schema(scene_schema())


@pytest.mark.parametrize("scene", SCENES, ids=lambda p: p.stem)
def test_every_scene_meets_the_schema(scene, validator):
    assert list(validator.iter_errors(tomllib.loads(scene.read_text()))) == []


def test_the_starter_and_a_resolved_scene_meet_the_schema(validator, read):
    for text in (STARTER, read().resolved):
        assert list(validator.iter_errors(tomllib.loads(text))) == []


def test_joints_hands_and_prisms_meet_the_schema(validator, scene_text):
    text = (
        scene_text
        + """
[[joint]]
kind = "hold"
between = ["blank", "world"]
at = ["0, 0, 0 mm", "0, 0, -75 mm"]
until = "0.2 s"
path = [{ time = "0 s", position = "0, 0, 0 mm" }]

[[hand]]
name = "thumb"
point = "0, 0, 10 mm"

[[body]]
name = "wedge"
shape = { kind = "prism", points = ["0, 0 mm", "9, 0 mm", "0, 9 mm"], length = "5 mm" }
material = "oak"
position = "0, 0, 1 m"
"""
    )
    assert list(validator.iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('material = "oak"', 'materail = "oak"'),
        ('duration = "0.5 s"', "duration = 0.5"),
        ('kind = "ring"', 'kind = "torus"'),
        ("restitution = 0.3", "restitution = 3"),
        ('position = "0, 0, -75 mm"', ""),
    ],
)
def test_the_schema_finds_mistakes(old, new, validator, scene_text):
    assert old in scene_text
    document = tomllib.loads(scene_text.replace(old, new))
    assert list(validator.iter_errors(document)) != []


def test_quantities_are_text_with_an_example_that_reads():
    from snapsim.scenario.loading import scene_from_text

    box = scene_schema()["$defs"]["BoxShape"]["properties"]["size"]
    assert box["type"] == "string"
    (example,) = box["examples"]
    text = STARTER.replace("80 x 60 x 30 mm", example)
    assert text != STARTER
    scene_from_text(text, "starter.toml")
