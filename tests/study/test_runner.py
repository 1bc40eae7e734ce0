"""Many runs: results for all, whatever happens to one."""

import os
import signal
from concurrent.futures import ThreadPoolExecutor

import pytest

from snapsim.errors import ComputationError, OutputError
from snapsim.study import runner
from snapsim.study.outcome_row import WhatCounts
from snapsim.study.placement import Placement
from snapsim.study.runner import Options, Task, processes, run_all, run_task
from snapsim.work.processes import each_apart


def test_a_fall_is_no_snap_and_its_speed_is_that_of_free_fall(falling):
    any_energy = Options(counts=WhatCounts(snap_energy=0.0))
    result = run_task(Task(1, falling, "falling.toml", options=any_energy))
    assert result["status"] == "done"
    assert result["flags"] == {
        "snap": False,
        "pinch": None,
        "magnet_struck": False,
        "string_broken": None,
        "table_overloaded": None,
    }
    # v^2 = 2 g h with h = 20 mm (elementary); the integrator's bound is 1e-6
    assert result["measures"]["speed_m_s"] == pytest.approx((2 * 9.80665 * 0.02) ** 0.5, rel=1e-5)


def test_a_blow_on_a_magnet_is_a_snap_and_can_end_the_run(magnets):
    stop = Options(stop_at_magnet=True)
    result = run_task(Task(1, magnets, "m.toml", options=stop))
    assert result["flags"]["snap"]
    assert result["flags"]["magnet_struck"]
    assert result["outcome"] == "stopped"
    assert result["simulated_s"] == result["first_blow"]["time_s"]
    assert result["measures"]["clamp_force_N"] > 10
    assert 0 < result["measures"]["closed_25mm_s"] < result["simulated_s"]
    slow = Options(counts=WhatCounts(snap_energy=100.0, magnet_speed=100.0), stop_at_magnet=True)
    result = run_task(Task(1, magnets, "m.toml", ("run.duration=0.05 s",), options=slow))
    assert not result["flags"]["snap"]
    assert not result["flags"]["magnet_struck"]


def test_an_overlap_and_a_bad_key_are_results_with_a_reason(falling):
    into_the_table = ("body.ball.position=0, 0, 5 mm",)
    overlap = run_task(Task(1, falling, "f.toml", into_the_table))
    assert overlap["status"] == "overlap"
    assert '"ball" and "table" overlap by 5 mm' in overlap["reason"]
    bad = run_task(Task(1, falling, "f.toml", ("body.bell.position=0, 0, 5 mm",)))
    assert bad["status"] == "failed"
    assert "bell" in bad["reason"]


def test_a_placed_body_keeps_its_gap_whatever_it_is_given(falling):
    on_the_table = Placement("ball", "table", gap=0.005)
    for height in ("5 mm", "10 mm", "300 mm"):
        changes = (f"body.ball.position=0, 0, {height}", "run.duration=0.06 s")
        result = run_task(Task(1, falling, "f.toml", changes, (on_the_table,)))
        # free fall over 5 mm, as above
        speed = (2 * 9.80665 * 0.005) ** 0.5
        assert result["measures"]["speed_m_s"] == pytest.approx(speed, rel=1e-5)


def test_a_folder_that_a_worker_does_not_have_ends_the_sweep(falling, tmp_path):
    keep = Options(keep="all", folder=str(tmp_path / "on another machine"))
    with pytest.raises(OutputError, match="a folder that all of them share"):
        run_task(Task(1, falling, "f.toml", ("run.duration=0.01 s",), options=keep))


def test_every_task_gets_one_result_through_any_executor(falling):
    tasks = [Task(n, falling, "f.toml", (f"contact.restitution={n / 10}",)) for n in range(5)]
    found = dict(run_all(tasks, 2, lambda: ThreadPoolExecutor(1)))
    assert sorted(found) == [0, 1, 2, 3, 4]
    assert all(r["status"] == "done" for r in found.values())


def _kill_number_two(task):
    if task.number == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return {"status": "done", "number": task.number}


def test_a_worker_that_dies_costs_only_the_run_that_kills_it(falling, monkeypatch):
    monkeypatch.setattr(runner, "run_task", _kill_number_two)
    tasks = [Task(n, falling, "f.toml") for n in range(6)]
    found = dict(run_all(tasks, 2))
    assert {n: r["status"] for n, r in found.items()} == dict.fromkeys(range(6), "done") | {
        2: "failed"
    }
    assert "died" in found[2]["reason"]


def test_a_worker_that_dies_on_an_item_ends_it_with_one_line():
    with (
        processes(1) as executor,
        pytest.raises(ComputationError, match="a worker process died; run the same again"),
    ):
        list(each_apart(executor, os._exit, [3], "run the same again"))
