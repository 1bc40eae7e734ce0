"""The scenes that come with the program: listed with what they teach, copied whole.

That an installed program brings them is looked at where the README is followed (.ci/readme)."""

from pathlib import Path

import snapsim
from snapsim.scenario.examples import examples

ROOT = Path(__file__).parents[2]


def test_each_scene_is_listed_with_what_it_teaches(snap):
    shown = snap("examples", "--json")
    assert shown.status == 0
    listed = {e["name"]: e for e in shown.json["examples"]}
    scenes = [p.name for p in (ROOT / "scenarios").glob("*.toml")]
    assert {f"{name}.toml" for name in listed} == {s for s in scenes if s.count(".") == 1}
    assert all(len(e["teaches"].split()) > 10 and e["title"] for e in listed.values())
    assert "upright" in listed["gear-blank"]["teaches"] or "rim" in listed["gear-blank"]["teaches"]


def test_a_copy_has_all_that_it_needs_and_overwrites_nothing(snap, tmp_path):
    shown = snap("examples", "gear-blank", "stage")
    assert shown.status == 0
    there = sorted(p.name for p in (tmp_path / "stage").iterdir())
    assert there == sorted(p.name for p in examples()["gear-blank"].files)
    assert "gear-blank.study.toml" in there
    assert snapsim.load_scene(tmp_path / "stage" / "gear-blank.toml").title
    assert "next: snapsim release stage/gear-blank.toml" in shown.out
    (tmp_path / "stage" / "gear-blank.study.toml").write_text("mine")
    (tmp_path / "stage" / "gear-blank.toml").unlink()
    shown = snap("examples", "gear-blank", "stage")
    assert shown.status == 2
    assert shown.err.count("\n") == 1
    assert "gear-blank.study.toml" in shown.err
    assert not (tmp_path / "stage" / "gear-blank.toml").exists()  # all or nothing
    assert (tmp_path / "stage" / "gear-blank.study.toml").read_text() == "mine"
    assert snap("examples", "gear-blank", "stage", "--force").status == 0


def test_another_name_is_one_line_with_the_nearest(snap):
    shown = snap("examples", "gear-blnk")
    assert shown.status == 2
    assert 'did you mean "gear-blank"' in shown.err
    assert shown.err.count("\n") == 1
