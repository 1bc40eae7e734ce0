"""What a presenter is told of one release, and against which limits it is held."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.mechanics.ending import EndReason, ended
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Sphere
from snapsim.run.release import release
from snapsim.study.answer import presenter_answer
from snapsim.study.outcome import HAND_MASS, HAND_STIFFNESS, hand_blow_force

G = 9.80665
GUARD = """
standard = "house rule (invented)"
edition = "1"
clause = "1"
protects = "a guard"
[[limit]]
name = "guard"
measure = "effective_energy_J"
most = 15.0
unit = "J"
known = "invented"
"""


@pytest.fixture
def fallen(make_body, make_system, materials):
    """Ball factory: one of `mass` kg that has fallen by `height` m on a table."""

    def make(mass, height):
        solid = Material("heavy", mass / Sphere(0.1).volume)
        table = make_body("table", Box((1, 1, 0.02)), materials["oak"], fixed=True)
        ball = make_body("ball", Sphere(0.1), solid)
        rows = [(table, (0, 0, -0.01)), (ball, (0, 0, 0.05 + height))]
        return release(make_system(rows, duration=0.5))

    return make


def judged(run):
    """Verdicts by the limits' names."""
    return {x["name"]: x["verdict"] for x in presenter_answer(run)["limits"]}


def test_a_limit_tested_with_a_small_ball_is_not_held_against_a_heavy_part(fallen):
    found = judged(fallen(5.0, 0.3))  # 5 kg from 0.3 m: 14.7 J
    assert found["spectacles, 43 g ball at 5.1 m/s"] == "not_judged"
    assert found["face shield, 6 mm ball at 120 m/s"] == "not_judged"
    assert found["toecap, impact"] == "not_exceeded"
    assert found["blow on a hand or finger, energy"] == "exceeded"
    assert found["glove, 5 J on the knuckles"] == "exceeded"


def test_it_is_held_against_a_small_ball(fallen):
    found = judged(fallen(0.1, 0.9))  # 0.1 kg from 0.9 m: 0.88 J, above 0.56 J
    assert found["spectacles, 43 g ball at 5.1 m/s"] == "exceeded"


def test_a_toecap_is_held_against_what_comes_down(fallen):
    assert judged(fallen(200.0, 0.2))["toecap, impact"] == "exceeded"  # 392 J


def test_force_on_a_hand_is_that_of_its_stiffness_and_mass(fallen):
    blow = fallen(5.0, 0.3).impacts[0]
    reduced = 5.0 * HAND_MASS / (5.0 + HAND_MASS)
    # F = v sqrt(mu k): ISO/TS 15066:2016 A.3.5 (from memory); v = sqrt(2 g h)
    expected = np.sqrt(2 * G * 0.3 * reduced * HAND_STIFFNESS)
    assert hand_blow_force(blow) == pytest.approx(expected, rel=1e-5)


def test_the_first_words_say_what_is_struck_how_fast_and_how_it_ends(fallen):
    says = presenter_answer(fallen(5.0, 0.3))["says"]
    assert says[0].startswith("The ball strikes the table after 0.247 s at 2.43 m/s with 14.7 J")
    assert says[1].startswith("The ball ends")


def test_a_run_that_is_not_trusted_shows_no_limit_as_kept(fallen):
    run = fallen(5.0, 0.3)
    doubtful = replace(run, ending=ended(EndReason.OVERLAP, 1e-3))
    answer = presenter_answer(doubtful)
    assert answer["says"][0].startswith("UNTRUSTED")
    assert {x["verdict"] for x in answer["limits"]} == {"exceeded", "not_judged"}


def test_no_words_promise_safety(fallen):
    said = " ".join(presenter_answer(fallen(0.1, 0.02))["says"]).lower()
    assert not any(word in said for word in ("safe", "harmless", "enough time", "no danger"))


def test_what_the_cells_may_leave_out_counts_against_a_limit(fallen, tmp_path):
    """14.7 J stand below 15 J; a bar of 5 % reaches over it, as in the table of a sweep."""
    run, house = fallen(5.0, 0.3), tmp_path / "guard.toml"
    house.write_text(GUARD)
    energy = run.impacts[0].effective_energy
    told = {"hardest_impact_effective_energy_J": energy}
    for error, verdict in ((0.0, "not_exceeded"), (0.05 * energy, "exceeded")):
        accuracy = told | {"hardest_impact_effective_energy_error_J": error}
        limits = presenter_answer(replace(run, accuracy=accuracy), [str(house)])["limits"]
        found = next(x for x in limits if x["name"] == "guard")
        assert found["verdict"] == verdict
        assert ("cells" in found["words"]) == (verdict == "exceeded")
