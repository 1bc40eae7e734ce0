"""A sweep on a real scheduler and two real workers on loopback, one of which is killed."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from snapsim.cli.entry import run
from snapsim.errors import ComputationError, InputError
from snapsim.study import cluster as module
from snapsim.study.cluster import cluster
from snapsim.study.ledger import read_ledger
from snapsim.study.study_file import load_study
from snapsim.study.sweep import SweepOptions, sweep

STUDY = """
scene = "falling.toml"
samples = 32
replicates = 2
[vary]
"body.ball.position.z" = { uniform = ["5 mm", "25 mm"] }
"contact.restitution" = { uniform = [0.2, 0.6] }
"""


def _begin(*arguments):
    """Dask gives a lost task to others by itself; told not to, it is the sweep that must."""
    strict = os.environ | {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen([sys.executable, "-m", "dask", *arguments], env=strict, **quiet)


@pytest.fixture(scope="module")
def study(tmp_path_factory, falling):
    """A study of 64 cheap runs, and the ledger of its undisturbed sweep."""
    folder = tmp_path_factory.mktemp("cluster")
    (folder / "falling.toml").write_text(falling)
    path = folder / "s.study.toml"
    path.write_text(STUDY)
    here = SweepOptions(executor=lambda: ThreadPoolExecutor(1))
    sweep(load_study(path), path, folder / "undisturbed", here)
    return path


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """The address of a scheduler, and its two workers' processes."""
    file = tmp_path_factory.mktemp("scheduler") / "at.json"
    place = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    begun = [_begin("scheduler", *place, "--scheduler-file", str(file))]
    work = ("--scheduler-file", str(file), "--nthreads", "1", "--no-nanny", "--no-dashboard")
    begun += [_begin("worker", *work, "--host", "127.0.0.1") for _ in range(2)]
    try:
        yield _address(file), begun[1:]
    finally:
        for process in reversed(begun):
            process.kill()
            process.wait()


def _address(file):
    """Wait for the scheduler and both workers."""
    import json

    from distributed import Client

    while not file.is_file():
        time.sleep(0.1)
    address = json.loads(file.read_text())["address"]
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=120)
    return address


@pytest.mark.slow
def test_a_worker_killed_mid_sweep_changes_nothing_in_the_table(study, scheduler):
    address, (first, _) = scheduler

    def kill(standing):
        if standing.fresh == 10:
            os.kill(first.pid, signal.SIGKILL)

    out = study.parent / "out"
    with cluster(address) as executor:
        standing = sweep(load_study(study), study, out, SweepOptions(executor=executor), kill)
    assert first.wait(10) == -signal.SIGKILL
    assert standing.fresh == 64
    assert read_ledger(out) == read_ledger(study.parent / "undisturbed")


@pytest.mark.slow
def test_an_interrupt_at_the_terminal_keeps_what_the_cluster_did(study, scheduler, on_a_terminal):
    out = study.parent / "broken off"
    many = study.with_name("many.study.toml")
    many.write_text(STUDY.replace("samples = 32", "samples = 200"))
    arguments = ["sweep", str(many), "-o", str(out), "--cluster", scheduler[0]]
    screen, status = on_a_terminal(arguments, study.parent, lambda: _rows(out) > 4)
    assert status in (130, -2)  # a shell shows an end by the signal as 130, too
    assert "interrupted; what was done is kept, start the same again to go on" in " ".join(
        screen.split()
    )
    assert "Traceback" not in screen
    assert 4 < _rows(out) < 400  # the tasks in hand are let go


def _rows(folder):
    try:
        return len(read_ledger(folder)[1])
    except InputError:  # not there yet
        return 0


@pytest.mark.slow
def test_a_cluster_without_workers_ends_the_sweep_and_what_was_done_is_kept(
    study, scheduler, monkeypatch
):
    address, workers = scheduler
    monkeypatch.setattr(module, "PATIENCE", 1.0)
    monkeypatch.setattr("snapsim.study.runner.GLANCE", 0.5)

    def kill(standing):
        if standing.fresh == 10:
            for worker in workers:
                worker.kill()

    out = study.parent / "left"
    with cluster(address) as executor, pytest.raises(ComputationError, match="no worker for"):
        sweep(load_study(study), study, out, SweepOptions(executor=executor), kill)
    assert len(read_ledger(out)[1]) >= 10
    with pytest.raises(InputError, match="has no worker yet"), cluster(address):
        pass


def test_an_address_where_nothing_answers_is_one_line(study, capsys, monkeypatch):
    monkeypatch.setattr(module, "CONNECT", 0.5)
    nowhere = ("sweep", str(study), "-o", str(study.parent / "none"), "--cluster")
    for address in ("tcp://127.0.0.1:9", "nonsense"):
        assert run([*nowhere, address]) == 2
        said = capsys.readouterr().err
        assert said.startswith("snapsim: --cluster: no scheduler answers at")
        assert said.count("\n") == 1
    assert not (study.parent / "none").exists()


def test_a_missing_extra_is_one_line(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r'pip install "snapsim\[cluster\]"'), cluster("any:1"):
        pass


def test_a_worker_with_another_program_is_refused(monkeypatch):
    """One that joins later, too: each task says which program it is for."""
    with pytest.raises(ComputationError, match="a worker has another program"):
        module._run_elsewhere("another program", None)
