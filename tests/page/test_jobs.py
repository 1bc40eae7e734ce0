"""Lanes: one job after another in a process of its own, progress, cancel, faults."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator

import lane_work
import pytest

from snapsim.page import jobs
from snapsim.page.jobs import Lane, PageJob, cancel, stop


@pytest.fixture(scope="module")
def lane() -> Iterator[Lane]:
    made = Lane()
    yield made
    made.close()


def until(job: PageJob, state: str) -> None:
    end = time.monotonic() + 30
    while job.state != state:
        assert time.monotonic() < end, job
        time.sleep(0.01)


def done(lane: Lane, value: int) -> PageJob:
    job = lane.submit("double", lane_work.double, {"value": value})
    assert job.over.wait(60)
    return job


def test_a_job_is_done_in_another_process_and_its_result_comes_back(lane: Lane) -> None:
    job = done(lane, 21)
    assert (job.state, job.result and job.result["value"]) == ("done", 42)
    assert job.result
    assert job.result["pid"] != os.getpid()


def test_a_cancelled_job_ends_at_once_and_the_process_goes_on(lane: Lane) -> None:
    first = done(lane, 1)
    job = lane.submit("willing", lane_work.willing, {})
    behind = lane.submit("double", lane_work.double, {"value": 3})
    until(job, "running")
    cancel(behind)  # one that waits does not begin
    began = time.monotonic()
    cancel(job)
    assert job.over.wait(30)
    assert time.monotonic() - began < jobs.PATIENCE
    assert job.state == "cancelled"
    assert behind.over.wait(5)
    assert (behind.state, behind.result) == ("cancelled", None)
    again = done(lane, 2)
    assert first.result
    assert again.result
    assert again.result["pid"] == first.result["pid"]


def test_a_job_that_does_not_listen_is_ended_and_the_next_gets_a_new_process(
    lane: Lane, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jobs, "PATIENCE", 0.2)
    job = lane.submit("deaf", lane_work.deaf, {})
    until(job, "running")
    time.sleep(0.2)
    cancel(job)
    assert job.over.wait(10)
    assert job.state == "cancelled"
    assert done(lane, 4).state == "done"


def test_a_stopped_job_returns_what_it_found_and_the_process_goes_on(lane: Lane) -> None:
    first = done(lane, 1)
    for name in ("keeping", "willing"):
        job = lane.submit(name, getattr(lane_work, name), {})
        behind = lane.submit("double", lane_work.double, {"value": 3})
        end = time.monotonic() + 60
        while not job.word:
            assert time.monotonic() < end
            time.sleep(0.01)
        time.sleep(0.3)
        stop(behind)  # one that waits does not begin
        stop(job)
        assert job.over.wait(10)
        assert behind.over.wait(5)
        assert behind.state == "cancelled"
        if name != "willing":
            assert job.state == "done"
            assert job.result
            assert job.result["count"] > 1
        else:  # has nothing to show
            assert (job.state, job.result) == ("cancelled", None)
    stop(first)  # over: nothing happens, to the next job either
    again = done(lane, 2)
    assert again.result
    assert first.result
    assert again.result["pid"] == first.result["pid"]


def test_faults_are_told_in_one_line_and_the_lane_goes_on(lane: Lane) -> None:
    refused = lane.submit("refusing", lane_work.refusing, {})
    assert refused.over.wait(30)
    assert (refused.state, refused.error) == ("failed", "body.disc: is wrong")
    died = lane.submit("dying", lane_work.dying, {})
    assert died.over.wait(30)
    assert died.state == "failed"
    assert died.error.startswith("the worker process ended")
    assert done(lane, 5).state == "done"


def test_closing_a_lane_leaves_no_process() -> None:
    lane = Lane()
    job = lane.submit("deaf", lane_work.deaf, {})
    until(job, "running")
    after = lane.submit("double", lane_work.double, {"value": 1})
    process = lane._process
    lane.close()
    assert not process.is_alive()
    assert not lane._thread.is_alive()
    assert after.over.wait(10)
    assert (job.state, after.state) == ("cancelled", "cancelled")
