"""Ctrl-C on a real pseudo-terminal: a sweep stops at once, says how to go on, and goes on."""

import pytest

STUDY = """
scene = "falling.toml"
samples = 64
replicates = 1
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
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
    screen, status, took = on_a_terminal(arguments, tmp_path, lambda: rows_in(tmp_path / "out") > 4)
    assert status == 130
    assert "out: interrupted; what was done is kept, start the same again to go on" in screen
    assert "Traceback" not in screen
    assert took < 5  # workers are not waited for; a busy machine
    kept = rows_in(tmp_path / "out")
    assert 4 < kept < 64
    again = snap("sweep", study, "-o", "out", "--workers", "1", "--json")
    assert again.json["computed_now"] == 64 - kept
    assert again.json["statuses"] == {"done": 64}


@pytest.mark.slow
def test_an_interrupt_while_workers_start_leaves_no_traceback(study, tmp_path, on_a_terminal):
    arguments = ["sweep", study, "-o", "out", "--workers", "2"]
    begun = tmp_path / "out" / "sweep.sqlite"
    screen, status, _ = on_a_terminal(arguments, tmp_path, begun.exists)
    assert status == 130
    assert "Traceback" not in screen
    assert "interrupted; what was done is kept" in screen
