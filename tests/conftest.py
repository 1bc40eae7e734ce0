"""Settings of all tests, small systems without a scene file, a terminal for tests that need one."""

import os
import select
import signal
import sys
import time
import warnings

import numpy as np
import pytest
from hypothesis import settings

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.first_use import prepare
from snapsim.simulation.system import System

# No deadlines: machines are shared. The same examples every time, so that a red run is red again.
settings.register_profile("snapsim", deadline=None, derandomize=True)
settings.load_profile("snapsim")


def pytest_addoption(parser):
    """`--complete`: nothing may be missing here, be it a browser, graphics or a library."""
    parser.addoption("--complete", action="store_true", help="a test that is skipped fails")
    parser.addoption("--longer", action="store_true", help="all seeds of the families, not a share")


LEFT_OUT = pytest.StashKey[int]()
"""How many cases are left to `--longer`."""


def pytest_collection_modifyitems(config, items):
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)  # last, they would leave cores idle
    if config.getoption("--longer"):
        return
    left = [item for item in items if item.get_closest_marker("longer")]
    items[:] = [item for item in items if not item.get_closest_marker("longer")]
    config.hook.pytest_deselected(items=left)
    config.stash[LEFT_OUT] = len(left)


def pytest_sessionfinish(session):
    if hasattr(session.config, "workeroutput"):  # a process of pytest-xdist
        session.config.workeroutput["left out"] = session.config.stash.get(LEFT_OUT, 0)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node):
    left = getattr(node, "workeroutput", {}).get("left out", 0)
    node.config.stash[LEFT_OUT] = max(left, node.config.stash.get(LEFT_OUT, 0))


def pytest_terminal_summary(terminalreporter, config):
    if left := config.stash.get(LEFT_OUT, 0):
        terminalreporter.write_line(f"{left} more cases of the families: pytest --longer")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    return _complete(item.config, (yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    return _complete(collector.config, (yield))


def _complete(config, report):
    if config.getoption("--complete") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, but all are to run: {report.longrepr}"
    return report


def pytest_sessionstart():
    """Compile the kernels once, side by side, before the tests' processes each compile them all."""
    prepare()


@pytest.fixture
def on_a_terminal():
    """Run `snapsim ...` on a pseudo-terminal of its own and press Ctrl-C."""
    return _on_a_terminal


def _on_a_terminal(arguments, folder, until, deadline=300.0):
    """Press Ctrl-C when `until()`; return (screen, exit status), -9: it never ended."""
    import pty

    with warnings.catch_warnings():  # this process may have threads; the child begins anew at once
        warnings.simplefilter("ignore", DeprecationWarning)
        pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(folder)
        os.execv(sys.executable, [sys.executable, "-m", "snapsim", *arguments])
    screen, pressed, began = b"", False, time.monotonic()
    while time.monotonic() - began < deadline:
        if select.select([terminal], [], [], 0.05)[0]:
            try:
                screen += os.read(terminal, 1 << 16)
            except OSError:  # the other end is closed
                break
        if not pressed and until():
            os.write(terminal, b"\x03")
            pressed = True
    else:
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    os.close(terminal)
    return screen.decode(), os.waitstatus_to_exitcode(status)


OAK = Material("oak", 700.0, youngs_modulus=11e9, poissons_ratio=0.35, strength=50e6)
MAGNET = Material("test magnet", 7500.0, remanence=1.3, recoil_permeability=1.05)


def iron(susceptibility, saturation=None, density=7800.0):
    """A soft material with a simple curve."""
    return Material("test iron", density, MagnetisationCurve(susceptibility, saturation))


@pytest.fixture
def materials():
    """The materials above by short name."""
    return {"oak": OAK, "magnet": MAGNET, "iron": iron}


@pytest.fixture
def make_body():
    """Body factory: free by default."""

    def make(name, shape, material=OAK, magnetised=None, fixed=False):
        direction = None if magnetised is None else np.array(magnetised, dtype=float)
        return Body(name, shape, material, direction, fixed)

    return make


@pytest.fixture
def make_system():
    """System factory from (body, position, quaternion, velocity, spin) rows."""

    def make(rows, duration=1.0, pair=None, gravity=(0, 0, -9.80665), detail="normal"):
        rows = [tuple(row) + (None,) * (5 - len(row)) for row in rows]
        zero = np.zeros(3)
        state = State(
            Pose(
                np.array([np.asarray(r[1], dtype=float) for r in rows]),
                np.array([rotations.IDENTITY if r[2] is None else r[2] for r in rows]),
            ),
            np.array([zero if r[3] is None else np.asarray(r[3], dtype=float) for r in rows]),
            np.array([zero if r[4] is None else np.asarray(r[4], dtype=float) for r in rows]),
        )
        return System(
            "test",
            "",
            tuple(r[0] for r in rows),
            state,
            SurfaceRules(pair or SurfacePair()),
            np.array(gravity, dtype=float),
            duration,
            detail,
        )

    return make


@pytest.fixture
def bodies(make_body, materials):
    """A block magnet held, a free iron ring and a table."""
    return (
        make_body("magnet", Box((0.06, 0.06, 0.03)), materials["magnet"], (0, 0, -1), True),
        make_body("ring", Ring(0.05, 0.02, 0.01), materials["iron"](400.0, 1.6)),
        make_body("table", Box((0.4, 0.4, 0.02)), fixed=True),
    )


@pytest.fixture
def snap(bodies, make_system):
    """The ring let go under the magnet's rim."""
    rows = [
        (bodies[0], (0, 0, 0.015)),
        (bodies[1], (0.012, 0.004, -0.045), rotations.from_rotation_vector([0.2, 0.7, 0.0])),
        (bodies[2], (0, 0, -0.2)),
    ]
    return make_system(rows, duration=0.3, detail="draft")
