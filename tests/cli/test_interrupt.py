"""Ctrl-C on a real pseudo-terminal: a sweep stops at once, says how to go on, and goes on."""

import os
import select
import sys
import time

import pytest

STUDY = """
scene = "falling.toml"
samples = 64
replicates = 1
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
"""

STOPPED = (130, -2)
"""Exit status of an interrupt; Python may end by the signal itself, which a shell shows as 130."""

LIMIT = 60.0
"""Seconds after which the test gives up."""


def on_a_terminal(arguments, folder, until, deadline=LIMIT):
    """Run a command in a terminal of its own, press Ctrl-C when `until()`; return (screen, exit
    status, seconds it took to end)."""
    import pty
    import warnings

    with warnings.catch_warnings():  # this process may have threads; the child begins anew at once
        warnings.simplefilter("ignore", DeprecationWarning)
        pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(folder)
        os.execv(sys.executable, [sys.executable, "-m", "snapsim", *arguments])
    screen, pressed, began = b"", None, time.monotonic()
    while time.monotonic() - began < deadline:
        if select.select([terminal], [], [], 0.05)[0]:
            try:
                screen += os.read(terminal, 1 << 16)
            except OSError:  # the other end is closed
                break
        if pressed is None and until():
            os.write(terminal, b"\x03")
            pressed = time.monotonic()
    took = time.monotonic() - (pressed or began)
    _, status = os.waitpid(pid, 0)
    os.close(terminal)
    return screen.decode(), os.waitstatus_to_exitcode(status), took


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
def test_an_interrupt_at_the_terminal_stops_cleanly_and_the_sweep_goes_on(study, tmp_path, snap):
    arguments = ["sweep", study, "-o", "out", "--workers", "2"]
    screen, status, took = on_a_terminal(arguments, tmp_path, lambda: rows_in(tmp_path / "out") > 4)
    assert status in STOPPED
    assert "out: interrupted; what was done is kept, start the same again to go on" in screen
    assert "Traceback" not in screen
    assert took < 5  # workers are not waited for; a busy machine
    kept = rows_in(tmp_path / "out")
    assert 4 < kept < 64
    again = snap("sweep", study, "-o", "out", "--workers", "1", "--json")
    assert again.json["computed_now"] == 64 - kept
    assert again.json["statuses"] == {"done": 64}


@pytest.mark.slow
def test_an_interrupt_while_workers_start_leaves_no_traceback(study, tmp_path):
    arguments = ["sweep", study, "-o", "out", "--workers", "2"]
    begun = tmp_path / "out" / "sweep.sqlite"
    screen, status, _ = on_a_terminal(arguments, tmp_path, begun.exists)
    assert status in STOPPED
    assert "Traceback" not in screen
    assert "interrupted; what was done is kept" in screen
