"""Settings of all tests, and a terminal for those that need a real one."""

import os
import select
import sys
import time
import warnings

import pytest
from hypothesis import settings

from snapsim.simulation.first_use import prepare

# No deadlines: machines are shared. The same examples every time, so that a red run is red again.
settings.register_profile("snapsim", deadline=None, derandomize=True)
settings.load_profile("snapsim")


def pytest_sessionstart():
    """Compile the kernels once, side by side, before the tests' processes each compile them all."""
    prepare()


@pytest.fixture
def on_a_terminal():
    """Run `snapsim ...` on a pseudo-terminal of its own and press Ctrl-C."""
    return _on_a_terminal


def _on_a_terminal(arguments, folder, until, deadline=60.0):
    """Press Ctrl-C when `until()`; return (screen, exit status, seconds it then took to end)."""
    import pty

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
