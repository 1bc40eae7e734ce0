"""The draft release that stands on top of the page: what it says, and what it never says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import snapsim
from snapsim.run.release import release
from snapsim.simulation.fate import Fate, FateKind
from snapsim.study import draft_verdict as drafts
from snapsim.study.draft_verdict import draft_verdict
from snapsim.words.draft_verdicts import error_words, gap_words, headline, limit_words

SCENES = Path(__file__).parents[2] / "scenarios"


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
