"""A remanence found from one reading, against closed forms; its interval; the scene it writes."""

import tomllib

import numpy as np
import pytest

from snapsim.cli.entry import run
from snapsim.errors import InputError
from snapsim.scenario.loading import load_scene, scene_from_text
from snapsim.study.calibration import calibrated, gaussmeter, misplaced, scale, with_remanence

BLOCK = """
# invented; this comment is the author's
title = "A block"
gravity = "0, 0, 0 m/s^2"
[[body]]
name = "magnet"
shape = { kind = "box", size = "40 x 30 x 20 mm" }
material = "NdFeB N42"  # what the seller said
magnetised = "+z"
position = "0, 0, 0 mm"
fixed = true
"""
PAIR = """
title = "Two discs"
gravity = "0, 0, 0 m/s^2"
[[body]]
name = "low"
shape = { kind = "cylinder", diameter = "20 mm", length = "10 mm" }
material = "NdFeB N42"
magnetised = "+z"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "high"
shape = { kind = "cylinder", diameter = "20 mm", length = "10 mm" }
material = "NdFeB N42"
magnetised = "+z"
position = "0, 0, 11 mm"
"""


def on_axis(remanence, distance):
    """B on a block's axis, `distance` from its pole: J/pi [atan(a b/(z s)) - the same of z + L],
    s = sqrt(4 z^2 + a^2 + b^2) in whole sizes (handbooks of magnet makers; from memory)."""
    a, b, length = 0.04, 0.03, 0.02

    def end(z):
        return np.arctan(a * b / (2 * z * np.sqrt(4 * z * z + a * a + b * b)))

    return remanence / np.pi * (end(distance) - end(distance + length))


def test_a_gaussmeters_reading_on_a_blocks_axis():
    """Known to 1 % of itself and 0.2 mm: the first is 1 % of J, the second its slope's share."""
    system, point = scene_from_text(BLOCK, "s.toml"), np.array([0.0, 0.0, 0.015])
    shown, along = on_axis(1.21, 0.005), np.array([0.0, 0.0, 1.0])
    place = misplaced(point, along, 2e-4)
    found = calibrated(system, "magnet", gaussmeter(point, along), shown, 0.01 * shown, place)
    assert found.remanence == pytest.approx(1.21, abs=2e-5)
    assert found.of_reading == pytest.approx(0.0121, rel=1e-3)
    moved = on_axis(1.21, 0.0048) - shown
    assert found.of_place == pytest.approx(1.21 * moved / shown, rel=1e-2)
    assert found.of_cells == 0
    assert found.low < 1.21 < found.high


def test_a_scales_reading_between_two_discs():
    """95.78429 N of J = 1.3 T, 1 mm apart (closed form of Vokoun et al., 2009, as in
    tests/magnetics/test_magnet_pair.py); half the force is J less by a root of two."""
    system = scene_from_text(PAIR, "s.toml")
    found = calibrated(system, "low", scale(1, None), 95.78429, 1.0, None)
    assert found.remanence == pytest.approx(1.3, rel=1e-4)
    assert found.of_reading == pytest.approx(1.3 * 0.5 / 95.78, rel=1e-2)
    weaker = calibrated(system, "low", scale(1, None), 95.78429 / 2, 1.0, None)
    assert weaker.remanence == pytest.approx(1.3 / 2**0.5, rel=1e-4)


def test_iron_that_saturates_and_a_weight():
    """From a pull made with 1.1 T, the weight hanging on it, back to 1.1 T."""
    text = PAIR.replace('material = "NdFeB N42"\nmagnetised = "+z"\nposition = "0, 0, 11 mm"',
                        'material = "low-carbon steel"\nposition = "0, 0, 11 mm"')  # fmt: skip
    text = text.replace('gravity = "0, 0, 0 m/s^2"', '[run]\ndetail = "draft"')
    text = text.replace('[run]\ndetail = "draft"', "") + '[run]\ndetail = "draft"\n'
    system = scene_from_text(text, "s.toml")
    up = np.array([0.0, 0.0, 1.0])
    shown, cells = scale(1, up)(with_remanence(system, "NdFeB N42", 1.1))
    found = calibrated(system, "low", scale(1, up), shown, 0.5, None)
    assert found.remanence == pytest.approx(1.1, abs=2e-5)
    weight = 9.80665 * system.bodies[1].mass
    light, _ = scale(1, up)(with_remanence(scene_from_text(
        text.replace('title = "Two discs"', 'title = "t"\ngravity = "0, 0, 0 m/s^2"'), "s.toml"),
        "NdFeB N42", 1.1))  # fmt: skip
    assert shown == pytest.approx(light + weight, rel=1e-9)  # drawn up, it weighs on the scale
    assert found.of_cells > 0
    assert cells > 0


def test_what_no_remanence_gives_is_said():
    system, point = scene_from_text(BLOCK, "s.toml"), np.array([0.0, 0.0, 0.015])
    with pytest.raises(InputError, match=r"is reached by no remanence: 0.02 to 2 T give"):
        calibrated(system, "magnet", gaussmeter(point, None), 3.0, 0.01, None)
    with pytest.raises(InputError, match='"low" is no body'):
        calibrated(system, "low", gaussmeter(point, None), 0.3, 0.01, None)


def test_the_command_keeps_the_authors_comments(tmp_path, capsys):
    scene, target = tmp_path / "block.toml", tmp_path / "measured.toml"
    scene.write_text(BLOCK, encoding="utf-8")
    given = ["calibrate", str(scene), "--magnet", "magnet", "--field", "0.3 T", "--at"]
    given += ["0, 0, 15 mm", "--reading-error", "3 mT", "-o", str(target)]
    assert run(given) == 0
    assert "remanence" in capsys.readouterr().out
    text = target.read_text(encoding="utf-8")
    assert "# invented; this comment is the author's" in text
    assert "# what the seller said" in text
    expected = 0.3 / on_axis(1.0, 0.005)
    made = tomllib.loads(text)["material"][0]
    assert float(made["remanence"].removesuffix(" T")) == pytest.approx(expected, rel=1e-3)
    assert made["source"]["remanence"].startswith("measured")
    assert load_scene(target).bodies[0].material.remanence == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        (["--field", "0.3 T"], "--at: is missing"),
        (["--pull", "3 N"], "--body: is missing"),
        ([], "give one reading"),
        (["--field", "0.3", "--at", "0, 0, 15 mm"], "--field: .*unit"),
        (["--field", "0.3 T", "--at", "0, 0, 15 mm", "--along", "up"], "--along: "),
    ],
)
def test_bad_input_is_one_line(tmp_path, capsys, more, problem):
    import re

    scene = tmp_path / "block.toml"
    scene.write_text(BLOCK, encoding="utf-8")
    given = ["calibrate", str(scene), "--magnet", "magnet", "--reading-error", "3 mT", *more]
    assert run(given) == 2
    said = capsys.readouterr().err
    assert re.search(problem, said)
    assert said.count("\n") == 1
