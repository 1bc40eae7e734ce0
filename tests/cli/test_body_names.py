"""A body's name that the scene does not have: the same one line, whatever the command."""

import pytest

SCENE = """
title = "A blank above a table under a magnet"

[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "60 mm", length = "30 mm" }
material = "NdFeB N42"
magnetised = "+z"
position = "0, 0, 125 mm"
fixed = true

[[body]]
name = "blank"
shape = { kind = "sphere", diameter = "25 mm" }
material = "bearing steel"
position = "0, 0, 12.5 mm"

[[body]]
name = "table"
shape = { kind = "box", size = "300 x 300 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true

[run]
detail = "draft"
"""

OVER = (
    "--first",
    "body.magnet.position.z=100..130 mm",
    "--second",
    "body.magnet.position.x=0..9 mm",
)

CALLS = [
    ("force", "--body", "blnk"),
    ("force", "--body", "blnk", "--json"),
    ("force", "--body", "blnk", "--accuracy"),
    ("force", "--body", "blnk", "--along", "z"),
    ("force", "--body", "blnk", "--plane", "xz"),
    ("poses", "--body", "blnk"),
    ("margin", "--body", "blnk"),
    ("margin", "--body", "blnk", "--against", "body.magnet.position.z=100..130 mm"),
    ("plot", "--body", "blnk", "-o", "p.png"),
    ("plot", "--body", "blnk", "-o", "p.png", "--what", "barrier"),
    ("plot", "--body", "blnk", "-o", "p.png", "--what", "field"),
    ("fate", "--body", "blnk", "-o", "out", *OVER),
]
ON = [
    ("fate", "--on", "blnk", "-o", "out", *OVER),
    ("margin", "--on", "blnk", "--against", "body.magnet.position.z=100..130 mm"),
]


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "scene.toml").write_text(SCENE)
    return "scene.toml"


@pytest.mark.parametrize(
    ("call", "key"),
    [*((c, "body") for c in CALLS), *((c, "--on") for c in ON)],
    ids=lambda x: " ".join(x) if isinstance(x, tuple) else x,
)
def test_an_unknown_body_is_one_line_in_every_command(snap, scene, tmp_path, call, key):
    result = snap(call[0], scene, *call[1:])
    assert result.status == 2
    assert result.out == ""
    assert result.err == (
        f'snapsim: scene.toml: {key}: "blnk" is no body of the scene; did you mean "blank"?'
        " allowed: magnet, blank, table\n"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["scene.toml"]


def test_force_of_one_body_shows_that_one(snap, scene):
    whole, one = snap("force", scene, "--json"), snap("force", scene, "--body", "blank", "--json")
    assert one.json == whole.json | {"bodies": {"blank": whole.json["bodies"]["blank"]}}
    table = snap("force", scene, "--body", "blank", "--accuracy").out
    assert "blank" in table
    assert "magnet " not in table.split("magnetic energy")[0]
