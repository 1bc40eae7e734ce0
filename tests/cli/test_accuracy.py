"""`--accuracy`: error bars in the JSON object and in the table."""

import pytest

from snapsim.analysis.json_objects import labelled

BALL = """
title = "A ball under a magnet"

[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "20 mm" }
material = "NdFeB N42"
magnetised = "+z"
position = "0, 0, 45 mm"
fixed = true

[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "bearing steel"
position = "0, 0, 0"

[run]
duration = "40 ms"
detail = "draft"
"""


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "ball.toml").write_text(BALL.replace('"0, 0, 0"', '"0, 0, 0 mm"'))
    return "ball.toml"


def test_force_gives_value_and_bar_of_every_body(snap, scene):
    result = snap("force", scene, "--accuracy", "--json").json
    found, ball = result["accuracy"], result["accuracy"]["bodies"]["ball"]
    assert found["detail"] == "draft"
    assert found["order"] == 2.0
    assert found["converged"] is True
    assert found["solver_bound_J"] < 1e-6
    assert (ball["coarse_cells"], ball["cells"]) == (32, 256)
    assert result["bodies"]["ball"]["cells"] == 160  # those of a release
    pull = result["bodies"]["ball"]["force_N"][2]
    assert pull < ball["force_N"][2] + ball["force_error_N"] < 1.1 * pull  # it reads low
    assert 0 < ball["force_error_N"] < 0.1 * pull
    assert 0 < found["magnetic_energy_error_J"] < 0.1 * abs(found["magnetic_energy_J"])
    assert 0 < result["bodies"]["ball"]["force_low_by_up_to"] < 0.1
    assert snap("force", scene, "--json").json == result
    assert "accuracy" not in snap("force", scene, "--no-accuracy", "--json").json


def test_force_shows_bars_in_its_table(snap, scene):
    text = snap("force", scene, "--accuracy").out
    assert "Extrapolated to vanishing cells" in text
    assert "32, 256" in text
    assert "not the material" in text
    assert "ball: the force found reads low by up to" in text


def test_release_gives_speed_and_energy_of_the_first_blow_with_bars(snap, scene, tmp_path):
    result = snap("release", scene, "--accuracy", "--json", "-o", "run.h5").json
    found, blow = result["accuracy"], result["impacts"][0]
    assert found["meshes"] == "the same on both meshes"
    assert found["first_impact_speed_m_s"] == pytest.approx(blow["closing_speed_m_s"], rel=0.02)
    assert 0 < found["first_impact_speed_error_m_s"] < 0.1 * found["first_impact_speed_m_s"]
    import snapsim

    again = snapsim.summary(snapsim.read_run(tmp_path / "run.h5"))
    assert labelled("release", again) == result
    shown = snap("release", scene, "--accuracy").out
    assert "on 32 and 256 cells" in shown
    assert "+-" in shown
