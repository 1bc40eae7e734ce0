"""Killed and told to end at moments drawn by seed: nothing is lost, nothing is left."""

import signal
import subprocess
import sys
import time

import numpy as np
import pytest

import snapsim

STUDY = """
scene = "falling.toml"
samples = 8
replicates = 1
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
"""


def ended(arguments, folder, after, number):
    """Run `snapsim ...`, send it a signal after some seconds; return its status, None: done."""
    with subprocess.Popen(
        [sys.executable, "-m", "snapsim", *arguments],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            process.wait(after)
        except subprocess.TimeoutExpired:
            process.send_signal(number)
        err = process.communicate(timeout=120)[1]
    assert "Traceback" not in err
    if process.returncode != -signal.SIGKILL:  # after that, Python's own helper has a word
        assert err.count("\n") <= 1
    return process.returncode


def moments(seed, took, count):
    """Moments within a run that took so long, and a signal for each."""
    random = np.random.default_rng(seed)
    kinds = [signal.SIGKILL, signal.SIGTERM]
    return [(float(random.uniform(0.2, 1.1)) * took, kinds[n % 2]) for n in range(count)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "count"), [(20, 4), pytest.param(22, 16, marks=pytest.mark.longer)]
)
def test_a_release_that_is_ended_leaves_a_whole_file_or_none(seed, count, falling, tmp_path):
    arguments = ["release", falling, "-o", "run.h5", "--force"]
    began = time.monotonic()
    assert ended(arguments, tmp_path, 120, signal.SIGKILL) == 0
    took = time.monotonic() - began
    whole = snapsim.read_run(tmp_path / "run.h5")
    statuses = set()
    for after, number in moments(seed, took, count):
        statuses.add(ended(arguments, tmp_path, after, number))
        found = snapsim.read_run(tmp_path / "run.h5")  # the earlier one, or the new one
        assert found.reason in (whole.reason, "interrupted")
    assert statuses & {-signal.SIGKILL, 130}
    assert statuses <= {0, -signal.SIGKILL, 130, -signal.SIGTERM}  # before it could be minded
    assert ended(arguments, tmp_path, 120, signal.SIGKILL) == 0
    assert np.array_equal(snapsim.read_run(tmp_path / "run.h5").position, whole.position)
    assert sorted(p.name for p in tmp_path.iterdir()) == [falling, "run.h5"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "count"), [(21, 3), pytest.param(23, 12, marks=pytest.mark.longer)]
)
def test_a_sweep_that_is_ended_again_and_again_comes_to_the_same_table(
    seed, count, falling, tmp_path
):
    from snapsim.study.ledger import read_ledger

    (tmp_path / "s.study.toml").write_text(STUDY)

    def arguments(out):
        return ["sweep", "s.study.toml", "-o", out, "--workers", "1", "--keep", "thin"]

    began = time.monotonic()
    assert ended(arguments("whole"), tmp_path, 240, signal.SIGKILL) == 0
    took = time.monotonic() - began
    for after, number in moments(seed, took, count):
        ended(arguments("broken"), tmp_path, after, number)
    assert ended(arguments("broken"), tmp_path, 240, signal.SIGKILL) == 0
    assert read_ledger(tmp_path / "broken")[1] == read_ledger(tmp_path / "whole")[1]
    names = {
        folder: sorted(p.name for p in (tmp_path / folder).rglob("*") if p.is_file())
        for folder in ("whole", "broken")
    }
    assert names["broken"] == names["whole"]
    assert not [n for n in names["broken"] if n.endswith(".part")]
