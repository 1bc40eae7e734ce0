"""Two unknowns that film alone cannot part, and the measurement that would, by a real release."""

import tomllib

import numpy as np
import pytest

import snapsim
from snapsim.footage.fit.fitting import fit_footage
from snapsim.footage.fit.summary import fit_summary
from snapsim.footage.fit.telling_apart import ambiguities
from snapsim.footage.fit.written import fitted_scene, fitted_study
from snapsim.footage.match_file import match_from
from snapsim.footage.matching import make_tracks, read_footage
from snapsim.scenario.loading import scene_from_text
from snapsim.study.cases import cases
from snapsim.study.study_file import study_from

# Weightless, so that only pull over mass shows: remanence squared over density.
SCENE = """
title = "A steel ball leaps to a magnet, without weight"
gravity = "0, 0, 0 m/s^2"
[[body]]
name = "magnet"
shape = { kind = "sphere", diameter = "40 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "10 mm" }
material = "low-carbon steel"
position = "0, 0, -45 mm"
[run]
duration = "12 ms"
detail = "draft"
"""
MATCH = {
    "time": {"frame_rate": "2000 Hz"},
    "view": {"scale": "20 px/mm", "origin": "600, 100 px"},
    "track": [{"point": "ball", "body": "ball"}],
    "fitting": {"starts": 1, "finish": "draft", "noise": "0.5 px"},
    "make": {"noise": "0.5 px"},
    "fit": {
        'material."NdFeB N45".remanence': {"between": ["1.1 T", "1.6 T"]},
        'material."low-carbon steel".density': {"between": [0.8, 1.2], "relative": True},
    },
}


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ball")
    (folder / "scene.toml").write_text(SCENE)
    match = match_from(MATCH, "match.toml")
    run = snapsim.release(snapsim.load_scene(folder / "scene.toml"))
    (folder / "t.csv").write_text(make_tracks(run, match, "match.toml"))
    filmed = read_footage(str(folder / "t.csv"), match, "match.toml", ["magnet", "ball"])
    return fit_footage(str(folder / "scene.toml"), filmed, match, "match.toml")


def test_remanence_and_density_are_traded_and_a_pull_or_a_scale_would_part_them(fitted):
    found = ambiguities(fitted.predictor, fitted.unknowns, fitted.fitted, fitted.intervals)
    pair = next(a for a in found if len(a.keys) == 2)
    assert "hard to tell apart" in pair.sentence
    # the motion keeps remanence^2 / density: along it pull and mass both grow
    assert pair.correlation > 0.99
    helps = " ".join(pair.helps)
    assert "the static pull on ball as placed" in helps
    assert "the mass of ball" in helps
    value = fit_summary(fitted, found)["values"]
    j, density = (v["value"] for v in value.values())
    assert j**2 / density == pytest.approx(1.35**2, rel=0.01)


def test_what_is_written_reads_back_and_draws_the_ridge(fitted, tmp_path):
    text = fitted_scene(fitted, tmp_path, "t.csv")
    (tmp_path / "fitted.toml").write_text(text)
    bodies = scene_from_text(text, "fitted.toml").bodies
    summary = fit_summary(fitted, ())["values"]
    j, density = (v["value"] for v in summary.values())
    assert bodies[0].material.remanence == pytest.approx(j, rel=1e-12)
    known = scene_from_text(SCENE, "scene.toml").bodies[1].material.density
    assert bodies[1].material.density == pytest.approx(density * known, rel=1e-12)
    written = fitted_study(fitted, "t.csv")
    study = study_from(tomllib.loads(written), "fitted.study.toml")
    assert study.correlated[0].correlation > 0.99
    ready = cases(study, str(tmp_path / "fitted.study.toml"))
    drawn = [ready.values(np.array([u, 0.5])) for u in (0.16, 0.5, 0.84)]
    key = 'material."NdFeB N45".remanence'
    assert drawn[1][key] == pytest.approx(j, abs=0.02)  # cut off at its bounds
    assert drawn[0][key] < drawn[1][key] < drawn[2][key]
