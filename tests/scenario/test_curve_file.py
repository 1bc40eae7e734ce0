"""A magnetisation curve from a CSV file: units of its head, polarisation, errors of one line."""

import numpy as np
import pytest

import snapsim
from snapsim.constants import MU_0
from snapsim.errors import InputError
from snapsim.scenario.loading import load_scene, scene_from_text

SCENE = """
title = "Invented"
[[body]]
name = "part"
shape = { kind = "box", size = "20 x 16 x 12 mm" }
material = "own steel"
position = "0, 0, 0 mm"
[[material]]
name = "own steel"
density = "7850 kg/m^3"
curve_file = "steel.csv"
"""
GOOD = "# measured on a ring, invented\nH (kA/m), B (mT)\n\n0, 0\n0.2, 300\n1, 1200\n10, 1700\n"


def scene(folder, text):
    (folder / "steel.csv").write_text(text, encoding="utf-8")
    (folder / "scene.toml").write_text(SCENE, encoding="utf-8")
    return load_scene(folder / "scene.toml")


@pytest.mark.slow  # as plain Python
def test_units_come_from_the_head_and_the_run_keeps_the_numbers(tmp_path):
    system = scene(tmp_path, GOOD)
    curve = system.bodies[0].material.curve
    assert curve.field_strength.tolist() == [0, 200, 1000, 10000]
    assert curve.flux_density == pytest.approx([0, 0.3, 1.2, 1.7])
    assert "steel.csv" not in system.resolved
    again = scene_from_text(system.resolved, "elsewhere/run.toml")  # where no such file is
    assert np.array_equal(again.bodies[0].material.curve.flux_density, curve.flux_density)
    assert snapsim.force(system).cells[0] > 0


def test_polarisation_and_columns_the_other_way_round(tmp_path):
    text = "J [T];Field strength [A/m]\n0;0\n1.5;1e3\n1.9;1e4\n"
    curve = scene(tmp_path, text).bodies[0].material.curve
    assert curve.field_strength.tolist() == [0, 1e3, 1e4]
    assert curve.flux_density == pytest.approx([0, 1.5 + 1e3 * MU_0, 1.9 + 1e4 * MU_0])


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("H, B\n0, 0\n1, 1\n", 'head: "H" has no unit in brackets'),
        ("H (A/m), B (V)\n0, 0\n1, 1\n", '"V" is no unit of field strength or flux density'),
        ("H (A/m), H (kA/m)\n0, 0\n1, 1\n", "needs two columns"),
        ("H (A/m), B (T)\n0, 0\n", "has 2 lines"),
        ("H (A/m), B (T)\n0, 0\n1, one\n", 'line 3: "one" is no number'),
        ("H (A/m), B (T)\n0, 0\n1, 1, 1\n", "line 3: has 3 values; two are due"),
        ("H (A/m), B (T)\n0, 0\n1, nan\n", "line 3: nan is not finite"),
        ("H (A/m), B (T)\n0, 0\n9, 1\n8, 1.2\n", "row 3: field strength 8 A/m must exceed"),
        ("H (A/m), B (T)\n1, 1\n2, 2\n", "row 1 must be 0 A/m, 0 T"),
    ],
)
def test_errors_name_the_file_the_key_and_the_line(tmp_path, text, problem):
    with pytest.raises(InputError) as caught:
        scene(tmp_path, text)
    said = str(caught.value)
    assert 'scene.toml: material."own steel".curve_file: ' in said
    assert problem in said
    assert "\n" not in said


def test_a_file_that_is_not_there(tmp_path):
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    with pytest.raises(InputError, match=r'curve_file: "steel.csv" cannot be read'):
        load_scene(tmp_path / "scene.toml")


def test_one_way_to_give_a_curve():
    text = SCENE + "susceptibility = 100\n"
    with pytest.raises(InputError, match="has both curve_file and susceptibility"):
        scene_from_text(text, "scene.toml")
