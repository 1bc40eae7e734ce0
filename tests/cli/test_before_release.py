"""`poses` and `margin` at the command line: what they refuse, what they print, how they stop."""

import pytest

SMALL = """
title = "A ball above a table under a magnet"

[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "60 mm", length = "30 mm" }
material = "NdFeB N42"
magnetised = "+z"
position = "0, 0, 125 mm"
fixed = true

[[body]]
name = "ball"
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


@pytest.fixture
def small(tmp_path):
    (tmp_path / "small.toml").write_text(SMALL)
    return "small.toml"


@pytest.mark.parametrize("command", ["poses", "margin"])
def test_a_body_that_no_magnet_draws_is_refused_in_one_line(snap, falling, command):
    result = snap(command, falling, "--body", "ball")
    assert result.status == 2
    assert result.out == ""
    assert result.err.count("\n") == 1
    assert "aluminium" in result.err


def test_poses_prints_one_json_object_with_cautions(snap, small):
    result = snap("poses", small, "--starts", "1", "--json")
    assert result.status == 0
    assert result.json["body"] == "ball"
    assert result.json["rests"]
    assert len(result.json["cautions"]) == 3


def test_margin_prints_a_table_with_the_lift_and_cautions(snap, small):
    result = snap("margin", small)
    assert result.status == 0
    assert "lift toward +z" in result.out
    assert "No result of this program is a permission" in result.out


def test_an_interrupt_ends_with_130_and_no_traceback(snap, small, monkeypatch):
    def interrupted(*given, **more):
        raise KeyboardInterrupt

    monkeypatch.setattr("snapsim.landscape.rests.settle", interrupted)
    result = snap("poses", small)
    assert result.status == 130
    assert "Traceback" not in result.err
