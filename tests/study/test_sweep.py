"""Sweeps: broken off and gone on with, the same table; known answers."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from snapsim.errors import InputError, OutputError
from snapsim.study.ledger import read_ledger
from snapsim.study.study_file import load_study
from snapsim.study.sweep import SweepOptions, sweep

STUDY = """
scene = "falling.toml"
samples = 8
replicates = 2
[set]
"run.duration" = "0.07 s"
[vary]
"body.ball.position.z" = { uniform = ["5 mm", "25 mm"] }
"""

HERE = SweepOptions(executor=lambda: ThreadPoolExecutor(1))


@pytest.fixture
def study(tmp_path, falling):
    (tmp_path / "falling.toml").write_text(falling)
    path = tmp_path / "s.study.toml"
    path.write_text(STUDY)
    return str(path)


def test_overlapping_ranges_are_counted_and_the_rest_falls_as_it_must(study, tmp_path):
    standing = sweep(load_study(study), study, tmp_path / "out", HERE)
    _, results = read_ledger(tmp_path / "out")
    statuses = [r["status"] for r in results.values()]
    # the ball's radius is 10 mm: a quarter of 5 to 25 mm overlaps, exactly so for 8 Sobol points
    # a replicate, whose every eighth of the range holds one
    assert statuses.count("overlap") == standing.statuses["overlap"] == 4
    assert statuses.count("done") == 12
    # v^2 = 2 g h: the mean over h uniform on 0 to 15 mm is g 15 mm (closed form); the 12 points
    # are one in each twelfth but for the scramble: within 3 % of the range's mean
    squares = [r["measures"]["speed_m_s"] ** 2 for r in results.values() if r["measures"]]
    assert sum(squares) / len(squares) == pytest.approx(9.80665 * 0.015, rel=0.06)


def test_an_interrupted_sweep_goes_on_to_the_same_table(study, tmp_path):
    sweep(load_study(study), study, tmp_path / "whole", HERE)

    def interrupt(standing):
        if standing.fresh == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sweep(load_study(study), study, tmp_path / "parts", HERE, interrupt)
    assert len(read_ledger(tmp_path / "parts")[1]) == 5
    standing = sweep(load_study(study), study, tmp_path / "parts", HERE)
    assert standing.fresh == 11
    assert read_ledger(tmp_path / "parts") == read_ledger(tmp_path / "whole")


def test_a_changed_scene_is_refused_and_computed_anew_on_request(study, tmp_path):
    sweep(load_study(study), study, tmp_path / "out", HERE)
    scene = tmp_path / "falling.toml"
    scene.write_text(scene.read_text().replace('20 mm"', '18 mm"', 1))
    with pytest.raises(OutputError, match="another scene; use --redo"):
        sweep(load_study(study), study, tmp_path / "out", HERE)
    again = SweepOptions(redo=True, executor=HERE.executor)
    assert sweep(load_study(study), study, tmp_path / "out", again).fresh == 16


def test_kept_runs_are_files_that_read_back(study, tmp_path):
    import snapsim

    keep = SweepOptions(keep="thin", executor=HERE.executor)
    few = load_study(study).model_copy(update={"samples": 2, "replicates": 1})
    sweep(few, study, tmp_path / "out", keep)
    files = sorted((tmp_path / "out" / "runs").glob("*.h5"))
    assert files
    assert snapsim.read_run(files[0]).outcome in ("moving", "settled")


def rows_in(folder):
    """How many runs are in a ledger so far."""
    try:
        return len(read_ledger(folder)[1])
    except InputError:
        return 0


def test_a_full_disk_ends_the_sweep_and_no_run_counts_as_failed(study, tmp_path, monkeypatch):
    from snapsim.study import runner

    keep = SweepOptions(keep="thin", executor=HERE.executor)
    monkeypatch.setattr(runner, "ROOM", 1 << 62)
    with pytest.raises(OutputError, match="make room"):
        sweep(load_study(study), study, tmp_path / "out", keep)
    assert all(r["status"] == "overlap" for r in read_ledger(tmp_path / "out")[1].values())
    monkeypatch.setattr(runner, "ROOM", 0)
    assert sweep(load_study(study), study, tmp_path / "out", keep).statuses["done"] == 12


@pytest.mark.slow
def test_killed_at_any_moment_and_started_again_the_table_is_the_same(study, tmp_path):
    sweep(load_study(study), study, tmp_path / "whole", HERE)
    command = [sys.executable, "-m", "snapsim", "sweep", study, "-o", "killed", "--workers", "1"]
    for rows in (0, 3, 10):
        process = subprocess.Popen(
            command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        while rows_in(tmp_path / "killed") < rows and process.poll() is None:
            time.sleep(0.01)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    assert 10 <= rows_in(tmp_path / "killed") < 16
    subprocess.run(command, cwd=tmp_path, check=True, stdout=subprocess.DEVNULL)
    assert read_ledger(tmp_path / "killed") == read_ledger(tmp_path / "whole")
