"""Ctrl-C on a real pseudo-terminal: a sweep stops at once, says how to go on, and goes on."""

import signal
import time
from contextlib import suppress

import pytest

import snapsim
from snapsim.work import interrupts

STUDY = """
scene = "falling.toml"
samples = 64
replicates = 1
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
"""

ENDLESS = """
scene = "falling.toml"
samples = 16
replicates = 1
stop = "end of run"
[vary]
"run.duration" = { values = ["0.02 s", "600 s"] }
"""


def rows_in(folder):
    """How many runs are in a ledger so far."""
    from snapsim.errors import InputError
    from snapsim.study.ledger import read_ledger

    try:
        return len(read_ledger(folder)[1])
    except InputError:
        return 0


@pytest.fixture
def study(falling, tmp_path):
    (tmp_path / "s.study.toml").write_text(STUDY)
    return "s.study.toml"


@pytest.mark.slow
def test_an_interrupt_at_the_terminal_stops_cleanly_and_the_sweep_goes_on(
    study, tmp_path, snap, on_a_terminal
):
    arguments = ["sweep", study, "-o", "out", "--workers", "2"]
    screen, status = on_a_terminal(arguments, tmp_path, lambda: rows_in(tmp_path / "out") > 4)
    assert status == 130
    assert "out: interrupted; what was done is kept, start the same again to go on" in screen
    assert "Traceback" not in screen
    kept = rows_in(tmp_path / "out")
    assert 4 < kept < 64
    again = snap("sweep", study, "-o", "out", "--workers", "1", "--json")
    assert again.json["computed_now"] == 64 - kept
    assert again.json["statuses"] == {"done": 64}


@pytest.mark.slow
def test_an_interrupt_does_not_wait_for_runs_that_have_begun(tmp_path, falling, on_a_terminal):
    # every other run has some 60 000 blows; both workers soon have one of these in hand
    text = (tmp_path / falling).read_text().replace("restitution = 0.5", "restitution = 1")
    (tmp_path / falling).write_text(text.replace("0, 0, 30 mm", "0, 0, 10.1 mm"))
    (tmp_path / "s.study.toml").write_text(ENDLESS)
    done = [0]

    def both_are_busy():
        before, done[0] = done[0], rows_in(tmp_path / "out")
        time.sleep(1.0)
        return 0 < done[0] == before

    arguments = ["sweep", "s.study.toml", "-o", "out", "--workers", "2"]
    screen, status = on_a_terminal(arguments, tmp_path, both_are_busy)
    assert status == 130
    assert "interrupted; what was done is kept" in screen
    assert rows_in(tmp_path / "out") < 16


@pytest.mark.slow
def test_an_interrupt_while_workers_start_leaves_no_traceback(study, tmp_path, on_a_terminal):
    arguments = ["sweep", study, "-o", "out", "--workers", "2"]
    begun = tmp_path / "out" / "sweep.sqlite"
    screen, status = on_a_terminal(arguments, tmp_path, begun.exists)
    assert status == 130
    assert "Traceback" not in screen
    assert "interrupted; what was done is kept" in screen


@pytest.fixture
def asked(monkeypatch):
    """A request to end as a signal brings it, forgotten after the test."""
    monkeypatch.setattr(interrupts, "_requests", [])
    return lambda *given, **options: interrupts._ask(signal.SIGINT, None)


@pytest.mark.parametrize(
    ("at", "more"),
    [
        ("snapsim.run.twins.perturbed", []),
        ("snapsim.run.twins.perturbed", ["--accuracy"]),
        ("snapsim.run.release_accuracy.release", ["--accuracy"]),
    ],
)
def test_what_is_asked_to_end_after_the_run_itself_says_so_and_leaves_with_130(
    at, more, asked, ball_under_magnet, snap, tmp_path, monkeypatch
):
    monkeypatch.setattr(at, asked)
    few = ["--set", "run.duration=2 ms", *more]
    result = snap("release", ball_under_magnet, "-o", "run.h5", "--json", *few)
    assert result.status == 130
    assert result.err == (
        f"snapsim: {ball_under_magnet}: interrupted; the run is whole, but its twins and meshes"
        " were not compared\n"
    )
    assert result.json["outcome"] == "moving"
    assert snapsim.read_run(tmp_path / "run.h5").time[-1] == 0.002


def test_whatever_a_command_kept_it_leaves_with_130_where_it_was_asked_to_end(
    asked, monkeypatch, capsys
):
    from snapsim.cli import entry

    def kept_all(arguments):
        with suppress(KeyboardInterrupt):
            asked()
        return 0

    monkeypatch.setattr(entry, "run", kept_all)
    assert entry.command(["materials"]) == 130
