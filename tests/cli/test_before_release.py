"""`poses` and `margin` at the command line: what they refuse, what they print, how they stop."""

import pytest


@pytest.mark.parametrize("command", ["poses", "margin"])
def test_a_body_that_no_magnet_draws_is_refused_in_one_line(snap, falling, command):
    result = snap(command, falling, "--body", "ball")
    assert result.status == 2
    assert result.out == "" or result.json["schema"] == "snapsim error"
    assert result.err.count("\n") == 1
    assert "aluminium" in result.err


def test_poses_prints_one_json_object_with_cautions(snap, ball_under_magnet):
    result = snap("poses", ball_under_magnet, "--starts", "1", "--json")
    assert result.status == 0
    assert result.json["body"] == "ball"
    assert result.json["rests"]
    assert len(result.json["cautions"]) == 3


def test_margin_prints_a_table_with_the_lift_and_cautions(snap, ball_under_magnet):
    result = snap("margin", ball_under_magnet)
    assert result.status == 0
    assert "lift toward +z" in result.out
    assert "No result of this program is a permission" in result.out


def test_an_interrupt_ends_with_130_and_no_traceback(snap, ball_under_magnet, monkeypatch):
    def interrupted(*given, **more):
        raise KeyboardInterrupt

    monkeypatch.setattr("snapsim.landscape.rests.settle", interrupted)
    result = snap("poses", ball_under_magnet)
    assert result.status == 130
    assert "Traceback" not in result.err
