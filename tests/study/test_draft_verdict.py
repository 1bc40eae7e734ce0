"""The draft release that stands on top of the page: what it says, and what it never says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import snapsim
from snapsim.mechanics.ending import EndReason
from snapsim.run.release import release
from snapsim.run.twins import release_with_twins
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import Fate, FateKind
from snapsim.study import draft_verdict as drafts
from snapsim.study.answer import presenter_answer
from snapsim.study.draft_verdict import draft_verdict
from snapsim.study.limit_verdict import LimitVerdict
from snapsim.words.draft_verdicts import error_words, gap_words, headline, limit_words

SCENES = Path(__file__).parents[2] / "scenarios"
DRAFT = ['run.detail="draft"', 'run.duration="0.4 s"']


def test_a_part_that_snaps_does_so_with_the_figures_of_a_release_up_to_there() -> None:
    scene = snapsim.load_scene(SCENES / "bearing-ball.toml")
    found = draft_verdict(scene)
    assert found is not None
    run = release(replace(scene, detail="draft"), estimates=False)
    first = next(i for i in run.impacts if "magnet" in (i.body, i.against))
    assert found.fate.kind is FateKind.SNAPS
    # its steps are long: speeds to some thousandths
    assert found.fate.speed == pytest.approx(first.closing_speed, rel=5e-3)
    assert found.fate.time == pytest.approx(first.time, rel=5e-3)
    assert found.limits
    assert found.closing is not None
    assert {*found.closing.bodies} == {"ball", "magnet"}


def test_a_part_that_falls_back_is_let_go_again_with_what_its_cells_may_miss(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Half as strong again it snaps: by `release` with gravity less in that ratio."""
    scene = snapsim.load_scene(SCENES / "gear-blank-falls-back.toml")
    calm = draft_verdict(scene)
    assert calm is not None
    assert (calm.fate.kind, calm.snaps_if_stronger) == (FateKind.FALLS_BACK, False)
    assert 0.01 < calm.error < 0.2
    monkeypatch.setattr(drafts, "pull_low_by", lambda run: 0.5)
    worse = draft_verdict(scene)
    assert worse is not None
    assert worse.snaps_if_stronger
    assert "may snap" in headline(worse.part, worse.fate, True, worse.error, ())


BALANCED = """
title = "A steel ball on a string midway between two poles, invented"
[[body]]
name = "left"
shape = { kind = "box", size = "40 x 60 x 60 mm" }
material = "NdFeB N45"
magnetised = "x"
position = "-120, 0, 0 mm"
fixed = true
[[body]]
name = "right"
shape = { kind = "box", size = "40 x 60 x 60 mm" }
material = "NdFeB N45"
magnetised = "x"
position = "120, 0, 0 mm"
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "30 mm" }
material = "low-carbon steel"
position = "0, 0, 0 mm"
[[joint]]
kind = "string"
between = ["ball", "world"]
at = ["0, 0, 15 mm", "0, 0, 615 mm"]
length = "600 mm"
[contact]
restitution = 0.5
friction = 0.3
[run]
duration = "1 s"
detail = "draft"
"""


def test_a_part_that_only_stands_balanced_is_not_called_calm() -> None:
    """Midway between two poles iron has no stable rest (Earnshaw 1842; Braunbek, Z. Phys. 112, 753
    (1939), both from memory: only diamagnets have; a string of 0.6 m gives back 1.8 N/m), yet a
    symmetric ball is pulled to neither side. The knocked one strikes as one let go 0.1 mm aside
    does: the blow's energy is that of the field, but for what the knock puts in."""
    scene = scene_from_text(BALANCED, "balanced.toml")
    found = draft_verdict(scene)
    assert found is not None
    assert found.fate.kind is FateKind.STAYS
    assert found.knocked is not None
    said = headline(found.part, found.fate, False, found.error, (), found.knocked)
    assert said.startswith("It may snap.")
    aside = scene_from_text(
        BALANCED.replace('"0, 0, 0 mm"\n[[joint', '"0.1, 0, 0 mm"\n[[joint'), ""
    )
    first = release(aside, estimates=False, until=lambda blow: EndReason.FATE_DECIDED).impacts[0]
    assert found.knocked[1].speed == pytest.approx(first.closing_speed, rel=5e-3)


def test_the_answer_of_a_release_tells_what_a_balanced_part_does_when_knocked() -> None:
    run = release_with_twins(scene_from_text(BALANCED, "balanced.toml"), 1)
    assert (run.outcome, run.impacts) == ("settled", ())
    answer = presenter_answer(run)
    assert "it only stands balanced" in answer["says"][0]
    assert run.twins is not None
    blow = run.twins.hardest[0]
    assert blow is not None
    assert blow.kinetic_energy > 1.5
    passed = {x["measure"] for x in answer["limits"] if x["verdict"] == LimitVerdict.EXCEEDED}
    assert "effective_energy_J" in passed
    alone = presenter_answer(replace(run, twins=None))
    assert not any(x["verdict"] == LimitVerdict.EXCEEDED for x in alone["limits"])


def test_a_twin_that_strikes_harder_is_told_beside_the_run_s_own_blow() -> None:
    run = release_with_twins(snapsim.load_scene(SCENES / "bearing-ball.toml", DRAFT), 1)
    assert run.twins is not None
    assert not any("Harder" in said for said in presenter_answer(run)["says"])
    worst = max(run.impacts, key=lambda blow: blow.effective_energy)
    harder = replace(worst, effective_energy=1.02 * worst.effective_energy, closing_speed=9.87)
    told = replace(run, twins=replace(run.twins, hardest=(harder,)))
    assert any(
        said.startswith("Harder in a run begun a millionth otherwise")
        and "the ball strikes the magnet" in said
        and "9.87 m/s" in said
        for said in presenter_answer(told)["says"]
    )


def test_a_scene_in_which_nothing_is_pulled_has_no_verdict() -> None:
    scene = snapsim.load_scene(SCENES / "gear-blank.toml", ['body.blank.material="oak"'])
    assert draft_verdict(scene) is None


@pytest.mark.parametrize("kind", [k for k in FateKind if k is not FateKind.SNAPS])
def test_no_word_of_a_draft_reassures_beyond_what_it_knows(kind: FateKind) -> None:
    fate = Fate(kind, lasted=1.0)
    said = " ".join([headline("nut", fate, False, 0.031, ()), error_words(0.031, fate)])
    assert said.startswith("In this draft run")
    assert "4 %" in said  # never rounded down
    assert "Not searched" in said
    assert "shows no safety" in said
    assert "shows no safety" in limit_words(0)
    assert gap_words(None) == ""


def test_a_part_that_is_still_held_is_told_as_held() -> None:
    said = headline("nut", Fate(FateKind.STAYS), False, 0.03, ("hand",))
    assert "hand did not let go" in said
