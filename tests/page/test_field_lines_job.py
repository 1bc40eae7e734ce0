"""Field lines of the scene as placed: from its magnetic state, nothing is let go."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.errors import InputError
from snapsim.page.field_lines_job import lines_work
from snapsim.run import release as releases

SCENES = Path(__file__).parents[2] / "scenarios"
DRAFT = ['run.detail="draft"']


def quiet(share, word):
    """Nobody watches."""


def given(name, changes=()):
    path = SCENES / name
    return {"text": path.read_text(), "file": str(path), "changes": [*DRAFT, *changes]}


@pytest.mark.parametrize("name", ["gear-blank.toml", "two-magnets.toml", "bar-on-a-hinge.toml"])
def test_lines_as_placed_are_those_of_a_runs_first_moment(name, tmp_path, monkeypatch):
    """Of the same magnetisation; 0.1 mm: lines are written to 0.01 mm, fields to 1e-9 of energy."""
    scene = snapsim.load_scene(SCENES / name, DRAFT)
    run = snapsim.release(replace(scene, duration=1e-6))
    snapsim.write_run(run, tmp_path / "run.h5")
    monkeypatch.setattr(releases, "Motion", None)  # nothing may be let go from here on
    placed = lines_work(given(name), quiet)["lines"]
    first = lines_work({"run": tmp_path / "run.h5", "time": 0.0}, quiet)["lines"]
    assert len(placed) == len(first) > 10
    for one, other in zip(placed, first, strict=True):
        assert np.array(one) == pytest.approx(np.array(other), abs=1e-4)


def test_a_scene_without_a_magnet_has_no_lines():
    text = """
title = "oak"
[[body]]
name = "block"
shape = { kind = "box", size = "20 x 20 x 20 mm" }
material = "oak"
position = "0, 0, 0 mm"
"""
    assert lines_work({"text": text, "file": "oak.toml", "changes": []}, quiet) == {"lines": []}


def test_lines_of_bodies_in_one_place_are_refused():
    with pytest.raises(InputError, match="overlap"):
        lines_work(given("gear-blank.toml", ["body.magnet.position=0, 0, -100 mm"]), quiet)
