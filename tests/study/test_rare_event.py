"""Small chances from a study: a closed form through files, tasks and ledger."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from scipy import stats

from snapsim.errors import InputError
from snapsim.study import runner
from snapsim.study.ledger import read_ledger
from snapsim.study.ranking import rank
from snapsim.study.report import report
from snapsim.study.study_file import load_study, study_from
from snapsim.study.sweep import SweepOptions, sweep

# v^2 = 2 g (h - 10 mm) for a ball of 10 mm radius: v > 0.70 m/s means h > 34.98 mm
STUDY = """
scene = "falling.toml"
samples = 50
replicates = 4
[vary]
"body.ball.position.z" = { normal = ["25 mm", "3 mm"] }
"contact.friction" = { uniform = [0.1, 0.5] }
[rare]
measure = "speed_m_s"
exceeds = 0.70
"""
HERE = SweepOptions(executor=lambda: ThreadPoolExecutor(1))
CHANCE = stats.norm.sf((0.70**2 / (2 * 9.80665) + 0.010 - 0.025) / 0.003)


def _by_closed_form(task):
    """The fall by its formula instead of a release: the files and the ledger are what is tried."""
    text = next(c for c in task.changes if c.startswith("body.ball.position="))
    height = float(json.loads(text.split("=", 1)[1]).split(",")[2].split()[0])
    speed = (2 * 9.80665 * max(height - 0.010, 0)) ** 0.5
    measures = {"speed_m_s": speed, "effective_energy_J": None}
    fallen = {"status": "done", "reason": "closed form", "flags": {}, "measures": measures}
    return fallen | {"number": task.number}


@pytest.fixture
def study(tmp_path, falling, monkeypatch):
    (tmp_path / "falling.toml").write_text(falling)
    path = tmp_path / "s.study.toml"
    path.write_text(STUDY)
    monkeypatch.setattr(runner, "run_task", _by_closed_form)
    return path


def test_the_chance_of_a_fast_fall_is_that_of_its_height(study, tmp_path):
    standing = sweep(load_study(study), study, tmp_path / "out", HERE)
    row = rank([tmp_path / "out"])["rows"][0]
    found = row["rare"]
    assert found["low"] < CHANCE < found["high"]
    assert abs(CHANCE - 4.4e-4) < 2e-5
    assert found["settled"]
    assert found["runs"] == standing.done < 4 * 50 * 5
    assert row["runs"] == 200  # level 0 is the study's own sample
    assert len(found["replicates"]) == 4
    assert "Chance of a rare event" in report(rank([tmp_path / "out"]))


def test_broken_off_between_levels_it_goes_on_to_the_same_chance(study, tmp_path):
    sweep(load_study(study), study, tmp_path / "whole", HERE)
    for stop in (20, 60, 200):

        def interrupt(standing, stop=stop):
            if standing.fresh == stop:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            sweep(load_study(study), study, tmp_path / "parts", HERE, interrupt)
        assert rank([tmp_path / "parts"])["rows"][0]["rare"] is None
    sweep(load_study(study), study, tmp_path / "parts", HERE)
    assert read_ledger(tmp_path / "parts") == read_ledger(tmp_path / "whole")


@pytest.mark.parametrize(
    ("rare", "more", "said"),
    [
        ({"measure": "speed_m_s"}, {}, "either exceeds or below"),
        ({"measure": "speed", "exceeds": 1.0}, {}, "speed_m_s"),
        ({"measure": "speed_m_s", "exceeds": 1.0}, {"replicates": 1}, "2 replicates"),
        ({"measure": "speed_m_s", "exceeds": 1.0}, {"coarse_first": True}, "without coarse_first"),
    ],
)
def test_a_slip_in_rare_is_one_line(rare, more, said):
    vary = {"contact.friction": {"uniform": [0.1, 0.2]}}
    with pytest.raises(InputError, match=said):
        study_from({"scene": "a.toml", "vary": vary, "rare": rare, **more}, "s.toml")
