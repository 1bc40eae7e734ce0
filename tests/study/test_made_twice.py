"""Runs of a study made twice: what repeats, what is a chance, and that it is said everywhere."""

import pytest

from snapsim.study.made_twice import alike, repeat_words, repeats
from snapsim.study.ranking import rank
from snapsim.study.report import about_now, report
from snapsim.study.study_file import study_from
from snapsim.study.sweep import sweep
from snapsim.study.table_files import rank_csv


def made(energy, other, snap=True, twin_snaps=True, parted=None):
    twin = {"flags": {"snap": twin_snaps}, "measures": {"e": other, "f": None}, "parted_s": parted}
    return {"flags": {"snap": snap}, "measures": {"e": energy, "f": None}, "twin": twin}


def test_what_differs_in_one_run_is_a_chance():
    found = repeats([made(1.0, 1.004), made(2.0, 2.5, parted=0.3), {"flags": {}, "twin": None}])
    assert found["runs"] == 2
    assert found["parted"] == 1
    assert found["measures"] == {"e": {"same": 1, "of": 2}}  # f: neither has it
    assert found["flags"] == {"snap": {"same": 2, "of": 2}}
    assert found["chances"] == ["e"]
    assert "a chance, for e (the same in 1 of 2)" in repeat_words(found)


def test_a_flag_that_differs_or_a_figure_that_only_one_has_is_a_chance():
    found = repeats([made(1.0, None, twin_snaps=False), made(3.0, 3.0)])
    assert found["chances"] == ["snap", "e"]
    assert alike(None, None)
    assert not alike(0.0, 1e-9)
    assert alike(0.0, 0.0)


def test_without_any_it_is_said_that_it_was_not_checked():
    assert repeats([{"flags": {}, "measures": {}}]) is None
    assert "not checked" in repeat_words(None)
    whole = repeats([made(1.0, 1.0)])
    assert "all that is counted repeats" in repeat_words(whole)


@pytest.fixture(scope="module")
def swept(tmp_path_factory, falling):
    folder = tmp_path_factory.mktemp("twice")
    (folder / "scene.toml").write_text(falling)
    document = {
        "scene": "scene.toml",
        "samples": 4,
        "replicates": 1,
        "vary": {"contact.restitution": {"uniform": [0.2, 0.6]}},
    }
    file = str(folder / "study.toml")
    sweep(study_from(document | {"twins": 3}, file), file, folder / "twice")
    sweep(study_from(document, file), file, folder / "once")
    return rank([folder / "twice"]), rank([folder / "once"])


def test_a_fall_repeats_in_every_run_made_twice_and_all_outputs_say_so(swept):
    twice, once = swept
    found = twice["rows"][0]["repeats"]
    assert found["runs"] == 3
    assert found["chances"] == []
    assert found["measures"]["effective_energy_J"] == {"same": 3, "of": 3}
    assert "effective_energy_J repeats in" in rank_csv(twice).splitlines()[0]
    assert "3 runs made twice" in report(twice, about_now("", ""))
    assert once["rows"][0]["repeats"] is None
    assert "not checked: no run was made twice" in report(once, about_now("", ""))


def test_a_run_made_twice_is_the_same_run(swept):
    """The twin adds what it says and changes nothing of the run beside it."""
    twice, once = (found["rows"][0] for found in swept)
    assert twice["measures"] == once["measures"]
    assert twice["chances"] == once["chances"]
