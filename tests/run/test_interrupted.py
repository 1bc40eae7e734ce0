"""A release that is interrupted at any moment has what it had reached, in columns of one length."""

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Sphere
from snapsim.run.release import release
from snapsim.run.run_log import RunLog
from snapsim.run.twins import release_with_twins


@pytest.fixture
def falling(make_body, make_system):
    rows = [
        (make_body("ball", Sphere(0.02)), (0, 0, 0.03)),
        (make_body("floor", Box((1, 1, 0.1)), fixed=True), (0, 0, -0.05)),
    ]
    return make_system(rows, duration=0.2)


def interrupt(monkeypatch, name, call):
    """Let the log be interrupted in the middle of one of its own steps."""
    kept, calls = getattr(RunLog, name), []

    def asked(self, *given):
        calls.append(1)
        if len(calls) == call:
            raise KeyboardInterrupt
        return kept(self, *given)

    monkeypatch.setattr(RunLog, name, asked)


def test_before_anything_was_reached_it_is_simply_interrupted(monkeypatch, falling):
    interrupt(monkeypatch, "_magnet_gap", 1)
    with pytest.raises(KeyboardInterrupt):
        release(falling)


@pytest.mark.parametrize(
    ("name", "call"), [*(("_magnet_gap", n) for n in range(2, 8)), ("_impact", 1), ("_impact", 2)]
)
def test_what_was_half_taken_is_left_out(monkeypatch, falling, name, call):
    whole = release(falling)
    interrupt(monkeypatch, name, call)
    run = release(falling)
    assert (run.outcome, run.reason) == ("stopped", "interrupted")
    count = len(run.time)
    assert 0 < count < len(whole.time)
    for column in (run.position, run.velocity, run.force, run.gap, run.energy["magnetic"]):
        assert len(column) == count
    assert np.array_equal(run.time, whole.time[:count])
    assert len(run.impacts) == np.count_nonzero([i.time <= run.time[-1] for i in whole.impacts])


@pytest.mark.parametrize("call", [1, 3])
def test_twins_that_are_interrupted_cost_the_run_nothing(monkeypatch, falling, call):
    whole = release(falling)
    frames = len(whole.time)
    interrupt(monkeypatch, "_magnet_gap", frames + call)
    run = release_with_twins(falling, 1)
    assert np.array_equal(run.position, whole.position)
    assert run.twins is None
