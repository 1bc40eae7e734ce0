"""Sweeps: broken off and gone on with, the same table; known answers."""

import os
import signal
import subprocess
import sys
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
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


def test_other_run_files_are_refused_in_the_same_directory(study, tmp_path):
    # solving frames that are kept moves the rounding of a run
    sweep(load_study(study), study, tmp_path / "out", HERE)
    with pytest.raises(OutputError, match="holds runs of another --keep; use --redo"):
        sweep(load_study(study), study, tmp_path / "out", replace(HERE, keep="thin"))


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
    half = tmp_path / "out" / "runs" / ".000000.h5.4711.part"
    half.parent.mkdir(parents=True)
    half.touch()  # what a worker leaves that is killed while it writes
    sweep(few, study, tmp_path / "out", keep)
    files = sorted((tmp_path / "out" / "runs").glob("*.h5"))
    assert files
    assert not half.exists()
    assert snapsim.read_run(files[0]).outcome in ("moving", "settled")


def rows_in(folder):
    """How many runs are in a ledger so far."""
    try:
        return len(read_ledger(folder)[1])
    except InputError:
        return 0


def test_a_full_disk_ends_the_sweep_and_no_run_counts_as_failed(study, tmp_path, monkeypatch):
    from snapsim.study import runner

    made = []

    def executor():
        made.append(ThreadPoolExecutor(1))
        return made[-1]

    keep = SweepOptions(keep="thin", executor=executor)
    monkeypatch.setattr(runner, "ROOM", 1 << 62)
    with pytest.raises(OutputError, match="make room"):
        sweep(load_study(study), study, tmp_path / "out", keep)
    made[-1].shutdown(wait=True)  # a run in hand would find room in what comes next
    assert all(r["status"] == "overlap" for r in read_ledger(tmp_path / "out")[1].values())
    monkeypatch.setattr(runner, "ROOM", 0)
    assert sweep(load_study(study), study, tmp_path / "out", keep).statuses["done"] == 12


def _killed_after(seconds, study, folder):
    """Sweep in a process of its own and kill it; return whether it was still at work."""
    with warnings.catch_warnings():  # the child only computes and dies
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        sweep(load_study(study), study, folder, HERE)
        os._exit(0)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


@pytest.mark.slow
def test_killed_at_ten_random_moments_and_started_again_the_table_is_the_same(study, tmp_path):
    more = tmp_path / "more.study.toml"
    more.write_text(STUDY.replace("samples = 8", "samples = 64"))
    began = time.monotonic()
    sweep(load_study(more), more, tmp_path / "whole", HERE)
    whole = time.monotonic() - began
    moments = np.random.default_rng(6).uniform(0, 0.15 * whole, 10)
    killed = [_killed_after(t, more, tmp_path / "killed") for t in moments]
    assert sum(killed) >= 9  # ten times 7.5 % of the time on average: the last may just finish
    assert 0 < rows_in(tmp_path / "killed") < 128 or not killed[-1]
    sweep(load_study(more), more, tmp_path / "killed", HERE)
    assert read_ledger(tmp_path / "killed") == read_ledger(tmp_path / "whole")


@pytest.mark.slow
def test_killed_with_its_worker_at_work_the_table_is_the_same(study, tmp_path):
    sweep(load_study(study), study, tmp_path / "whole", HERE)
    command = [sys.executable, "-m", "snapsim", "sweep", study, "-o", "killed", "--workers", "1"]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    while rows_in(tmp_path / "killed") < 3 and process.poll() is None:
        time.sleep(0.01)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert 3 <= rows_in(tmp_path / "killed") < 16
    sweep(load_study(study), study, tmp_path / "killed", HERE)
    assert read_ledger(tmp_path / "killed") == read_ledger(tmp_path / "whole")
