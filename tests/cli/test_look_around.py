"""`force` along a line and over a plane, and `plot`: what they write, and bad options."""

import csv
from pathlib import Path

import numpy as np
import pytest

SCENE = """
title = "A plate under a block"

[[body]]
name = "magnet"
shape = { kind = "box", size = "80 x 60 x 30 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 15 mm"
fixed = true

[[body]]
name = "plate"
shape = { kind = "box", size = "40 x 30 x 8 mm" }
material = "grey cast iron"
position = "5 mm, 0, -50 mm"
rotation = { axis = "y", angle = "20 deg" }

[run]
detail = "draft"
"""


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "plate.toml").write_text(SCENE)
    return "plate.toml"


def test_force_along_a_line_as_json_and_csv(snap, scene, tmp_path):
    line = ("force", scene, "--along", "z", "--distance", "60 mm", "--points", "7")
    found = snap(*line, "--json", "-o", "z.csv").json["along"]
    assert found["body"] == "plate"
    assert found["distance_m"] == pytest.approx(np.linspace(0, 0.06, 7))
    assert found["force_N"][-1] == [None, None, None]  # inside the magnet
    rows = list(csv.reader((tmp_path / "z.csv").read_text().splitlines()))
    assert rows[0][:3] == ["distance [m]", "gap [m]", "force x [N]"]
    assert [float(r[4]) for r in rows[1:5]] == [f[2] for f in found["force_N"][:4]]
    assert rows[-1][2:5] == ["", "", ""]
    assert "overlaps" in snap(*line).out


def test_force_over_a_plane(snap, scene, tmp_path):
    plane = ("force", scene, "--plane", "xz", "--span", "80 x 40 mm", "--points", "5")
    found = snap(*plane, "--json", "-o", "map.svg").json["map"]
    assert (len(found["u_m"]), len(found["v_m"])) == (5, 3)
    assert np.shape(found["force_N"]) == (3, 5, 3)
    here = snap("force", scene, "--json").json["bodies"]["plate"]["force_N"]
    assert found["force_N"][1][2] == pytest.approx(here, rel=2e-3, abs=1e-3)
    assert b"<svg" in (tmp_path / "map.svg").read_bytes()[:2000]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--along", "up"), '--along: "up"'),
        (("--along", "z", "--distance", "5"), "--distance"),
        (("--along", "z", "--distance", "-5 mm"), "greater than zero"),
        (("--plane", "zz"), "xy, xz, yz"),
        (("--plane", "xz", "--span", "10 mm"), "--span"),
        (("--plane", "xz", "--along", "z"), "not both"),
        (("-o", "x.csv"), "--along or --plane"),
        (("--along", "z", "-o", "x.jpg"), ".csv"),
        (("--along", "z", "-o", "x.png", "--style", "pink"), "light, dark"),
        (("--along", "z", "--body", "magnet"), "fixed"),
    ],
)
def test_bad_options_get_one_line(snap, scene, options, said):
    result = snap("force", scene, *options)
    assert result.status == 2
    assert result.out == "" or result.json["schema"] == "snapsim error"
    assert said in result.err
    assert result.err.count("\n") == 1


@pytest.mark.parametrize(
    "what", ["energy", "torque", "magnetisation", "field", "pull", "saturation", "surface"]
)
def test_plots_of_a_scene_are_written(snap, scene, tmp_path, what):
    assert snap("plot", scene, "--what", what, "-o", "why.png").status == 0
    assert (tmp_path / "why.png").read_bytes().startswith(b"\x89PNG")
    again = snap("plot", scene, "--what", what, "-o", "why.png")
    assert again.status == 2
    assert "exists already" in again.err


def test_a_run_is_plotted_against_time(snap, scene, tmp_path):
    assert snap("release", scene, "-o", "r.h5", "--set", 'run.duration="0.01 s"').status == 0
    assert snap("plot", "r.h5", "-o", "run.pdf", "--style", "dark").status == 0
    assert (tmp_path / "run.pdf").read_bytes().startswith(b"%PDF")
    assert snap("plot", "r.h5", "-o", "film.png", "--what", "film").status == 0
    assert (tmp_path / "film.png").read_bytes().startswith(b"\x89PNG")
    assert "goes with a scene" in snap("plot", "r.h5", "-o", "c.pdf", "--what", "field").err
    assert "goes with a run" in snap("plot", scene, "-o", "c.pdf", "--what", "film").err
    assert "--set" in snap("plot", "r.h5", "-o", "b.pdf", "--set", "run.detail=draft").err


def test_plot_refuses_what_it_cannot_draw(snap, scene):
    for options, said in (
        (("-o", "x.jpg"), ".png, .svg, .pdf"),
        (("-o", "x.png", "--axis", "9"), "--axis"),
        (("-o", "x.png", "--plane", "q", "--what", "field"), "--plane"),
        (("-o", "x.png", "--what", "charm"), "charm"),
    ):
        result = snap("plot", scene, *options)
        assert result.status == 2
        assert said in result.err
        assert result.err.count("\n") == 1


BALL = (Path(__file__).parents[1] / "scenes" / "iron-ball-under-magnet.toml").read_text()


def test_margins_against_a_key_and_over_the_pass_are_drawn(snap, tmp_path):
    (tmp_path / "ball.toml").write_text(BALL)
    line = ("margin", "ball.toml", "--against", "body.magnet.position.z=80..90 mm", "--steps", "1")
    result = snap(*line, "--way", "lift", "-o", "lift.svg", "--json").json
    assert [row["value"] for row in result["rows"]] == [[80.0], [90.0]]
    assert {w["kind"] for row in result["rows"] for w in row["ways"]} == {"lift"}
    assert b"<svg" in (tmp_path / "lift.svg").read_bytes()[:2000]
    assert snap("margin", "ball.toml", "-o", "pass.png").status == 0
    gone = snap("margin", "ball.toml", "--set", "body.magnet.position.z=2 m", "-o", "no.png")
    assert (gone.status, "no pass" in gone.err) == (3, True)
    assert not (tmp_path / "no.png").exists()
    assert (tmp_path / "pass.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--on", "table"), "goes with --against"),
        (("--against", "body.plate.position.z=1..2 mm", "--way", "shove"), "is no way"),
        (("--against", "body.plate.position.z"), "is no range"),
        (("-o", "pass.csv"), "ends in no format"),
        (("--together", "--way", "lift"), "--way: does not go with --together"),
        (("--together",), "needs two free bodies"),
        (
            ("--quick", "--find", "body.plate.position.z=1..2 mm", "--so-that", "no snap"),
            "--quick: does not go with --find",
        ),
    ],
)
def test_bad_options_of_margin_get_one_line(snap, scene, more, said):
    found = snap("margin", scene, *more)
    assert found.status == 2
    assert said in found.err
    assert found.err.count("\n") == 1
