"""What acts on each part, by whom: the page's cards are the rows of the force matrix."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.page.parts_job import hands_view, parts_work
from snapsim.scenario.loading import scene_text

SCENES = Path(__file__).parents[2] / "scenarios"


def found(name: str) -> dict:
    file = str(SCENES / name)
    given = {"text": scene_text(file), "file": file, "changes": ['run.detail="draft"']}
    return parts_work(given, lambda share, word: None)


def test_two_blanks_are_pulled_by_the_magnet_and_pushed_apart_by_each_other() -> None:
    told = found("two-blanks-under-one-pole.toml")
    report = snapsim.force(
        snapsim.load_scene(SCENES / "two-blanks-under-one-pole.toml", ['run.detail="draft"'])
    )
    assert report.between is not None
    for card in told["cards"]:
        i = card["index"]
        np.testing.assert_allclose(card["force"], report.force[i], rtol=1e-9, atol=1e-9)
        by_magnet = np.linalg.norm(report.between[i, 0, :3])
        assert card["magnets_N"] == pytest.approx(by_magnet, rel=1e-9)
    pair = next(p for p in told["pairs"] if "magnet" not in p["of"])
    # action and reaction: what one does to the other is as large either way
    back = np.linalg.norm(report.between[2, 1, :3])
    assert pair["force_N"] == pytest.approx(back, rel=1e-6)
    assert pair["apart"]
    assert not next(p for p in told["pairs"] if "magnet" in p["of"])["apart"]
    reach = [s["distance_m"] for s in told["stray"] if s.get("distance_m")]
    assert reach == sorted(reach, reverse=True)  # the least field reaches farthest, and is drawn


def test_a_finger_is_shown_with_the_gap_that_the_scene_has() -> None:
    """Two blocks 120 mm apart and a finger's tip in the middle."""
    (hand,) = hands_view(snapsim.load_scene(SCENES / "two-magnets.toml"))
    assert hand["gap_m"] == pytest.approx(0.06, abs=2e-6)  # its place is a micrometre large
    assert hand["matters_m"] == 0.025
