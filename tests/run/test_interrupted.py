"""A release that is interrupted at any moment has what it had reached, in columns of one length."""

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Sphere
from snapsim.run.release import not_interrupted, release
from snapsim.run.release_accuracy import release_with_accuracy
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


@pytest.fixture
def on_two_meshes(make_body, make_system, materials):
    """A ball of iron free under a magnet, for 2 ms."""
    magnet = make_body("magnet", Box((0.04, 0.04, 0.02)), materials["magnet"], (0, 0, 1), True)
    ball = make_body("ball", Sphere(0.02), materials["iron"](300.0, 1.9))
    rows = [(magnet, (0, 0, 0.05)), (ball, (0, 0, 0))]
    return make_system(rows, duration=0.002, detail="draft")


def test_after_an_interrupt_of_the_twins_no_coarse_run_begins(monkeypatch, on_two_meshes):
    other = release(on_two_meshes)
    begun = []
    monkeypatch.setattr(
        "snapsim.run.release_accuracy.release", lambda *given: begun.append(given) or other
    )
    whole = release_with_accuracy(on_two_meshes, twins=1)
    assert whole.accuracy["coarse_cells"]
    assert len(begun) == 1  # there is one where nothing interrupts
    interrupt(monkeypatch, "_magnet_gap", len(whole.time) + 2)
    run = release_with_accuracy(on_two_meshes, twins=1)
    assert np.array_equal(run.position, whole.position)
    assert len(begun) == 1
    assert run.twins is None
    assert "coarse_cells" not in run.accuracy


def test_half_a_run_is_no_row_no_fate_and_no_course(monkeypatch, falling):
    assert not_interrupted(whole := release(falling)) is whole
    interrupt(monkeypatch, "_magnet_gap", 3)
    with pytest.raises(KeyboardInterrupt):
        not_interrupted(release(falling))
