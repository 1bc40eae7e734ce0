"""`snapsim fate`: what it prints, writes and refuses."""

import csv
import json

import pytest

SCENE = """
title = "A ball under a magnet"
[[body]]
name = "magnet"
shape = { kind = "sphere", diameter = "40 mm" }
material = "NdFeB N45"
magnetised = "z"
fixed = true
position = "0, 0, 0 mm"
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "10 mm" }
material = "low-carbon steel"
position = "0, 0, -60 mm"
[[body]]
name = "floor"
shape = { kind = "box", size = "200 x 200 x 10 mm" }
material = "oak"
position = "0, 0, -115 mm"
fixed = true
[contact]
restitution = 0
"""
GIVEN = ("-o", "out", "--first", "body.ball.position.z=-100..-40 mm")
OTHER = ("--second", "body.ball.position.x=0..4 mm")


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE)
    return path


def test_it_prints_one_object_and_writes_points_and_picture(snap, scene, tmp_path):
    more = ("--grid", "2x1", "--resolution", "30 mm", "--spots", "0", "--json")
    result = snap("fate", scene, *GIVEN, *OTHER, *more)
    assert result.status == 0, result.err
    found = result.json
    assert found["releases"] == 6
    assert found["fates"]["snaps"] >= 2
    assert "no safe distance" in found["limits"][0]
    assert any("draft" in line for line in found["limits"])
    rows = list(csv.reader((tmp_path / "out" / "fate.csv").read_text().splitlines()))
    assert rows[0][:2] == ["body.ball.position.z [mm]", "body.ball.position.x [mm]"]
    assert len(rows) == 7
    written = json.loads((tmp_path / "out" / "fate.json").read_text())
    assert len(written["points"]) == 6
    assert list(written)[:2] == ["schema", "version"]
    assert (tmp_path / "out" / "fate.png").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((*GIVEN[:3], "body.ball.position.z", *OTHER), "KEY=FROM..TO"),
        ((*GIVEN, "--second", "body.ball.position.z=0..4 mm"), "two different ones"),
        ((*GIVEN, "--second", "body.bal.position.x=0..4 mm"), "did you mean"),
        ((*GIVEN, "--second", "body.ball.position.x=0..4 deg"), "not a unit of a length"),
        ((*GIVEN, *OTHER, "--grid", "many"), "is no grid"),
        ((*GIVEN, *OTHER, "--resolution", "2 deg"), "cannot be turned into"),
        ((*GIVEN, *OTHER, "--on", "flor"), "flor"),
        ((*GIVEN, *OTHER, "--style", "blue"), "--style"),
    ],
)
def test_bad_input_is_refused_in_one_line_before_anything_is_made(
    snap, scene, tmp_path, options, said
):
    result = snap("fate", scene, *options)
    assert result.status == 2
    assert said in result.err
    assert result.err.count("\n") == 1
    assert not (tmp_path / "out").exists()
