"""A body's name that the scene does not have: the same one line, whatever the command."""

import pytest

OVER = (
    "--first",
    "body.magnet.position.z=100..130 mm",
    "--second",
    "body.magnet.position.x=0..9 mm",
)

CALLS = [
    ("force", "--body", "bal"),
    ("force", "--body", "bal", "--json"),
    ("force", "--body", "bal", "--accuracy"),
    ("force", "--body", "bal", "--along", "z"),
    ("force", "--body", "bal", "--plane", "xz"),
    ("poses", "--body", "bal"),
    ("margin", "--body", "bal"),
    ("margin", "--body", "bal", "--against", "body.magnet.position.z=100..130 mm"),
    ("plot", "--body", "bal", "-o", "p.png"),
    ("plot", "--body", "bal", "-o", "p.png", "--what", "barrier"),
    ("plot", "--body", "bal", "-o", "p.png", "--what", "field"),
    ("fate", "--body", "bal", "-o", "out", *OVER),
]
ON = [
    ("fate", "--on", "bal", "-o", "out", *OVER),
    ("margin", "--on", "bal", "--against", "body.magnet.position.z=100..130 mm"),
]


@pytest.mark.parametrize(
    ("call", "key"),
    [*((c, "body") for c in CALLS), *((c, "--on") for c in ON)],
    ids=lambda x: " ".join(x) if isinstance(x, tuple) else x,
)
def test_an_unknown_body_is_one_line_in_every_command(snap, ball_under_magnet, tmp_path, call, key):
    result = snap(call[0], ball_under_magnet, *call[1:])
    assert result.status == 2
    assert result.out == "" or result.json["schema"] == "snapsim error"
    assert result.err == (
        f'snapsim: ball-under-magnet.toml: {key}: "bal" is no body of the scene;'
        ' did you mean "ball"?'
        " allowed: magnet, ball, table\n"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["ball-under-magnet.toml"]


def test_force_of_one_body_shows_that_one(snap, ball_under_magnet):
    whole, one = (
        snap("force", ball_under_magnet, "--no-accuracy", "--json"),
        snap("force", ball_under_magnet, "--no-accuracy", "--body", "ball", "--json"),
    )
    mine = {key: {"ball": whole.json[key]["ball"]} for key in ("bodies", "between")}
    assert one.json == whole.json | mine
    table = snap("force", ball_under_magnet, "--body", "ball", "--accuracy").out
    assert "ball" in table
    assert "magnet " not in table.split("magnetic energy")[0]
