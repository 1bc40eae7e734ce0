"""The ledger goes on where it stopped, for the same work only, one sweep at a time."""

import os
import resource
import signal
from contextlib import contextmanager

import pytest

from snapsim.errors import InputError, OutputError
from snapsim.study.ledger import Ledger, program_identity, read_ledger

ONE = {"scene": "a", "program": "1"}


def test_rows_are_there_again_and_go_on(tmp_path):
    with Ledger(tmp_path, ONE) as ledger:
        ledger.add(3, {"status": "done", "x": 0.1})
    with Ledger(tmp_path, ONE) as ledger:
        assert ledger.done() == {3}
        ledger.add(1, {"status": "failed"})
        assert [n for n, _ in ledger.results()] == [1, 3]
    about, results = read_ledger(tmp_path)
    assert about["scene"] == "a"
    assert results[3] == {"status": "done", "x": 0.1}


def test_another_scene_or_program_is_refused_or_computed_anew(tmp_path):
    with Ledger(tmp_path, ONE) as ledger:
        ledger.add(1, {"status": "done"})
    with pytest.raises(OutputError, match="another program; use --redo"):
        Ledger(tmp_path, {"scene": "a", "program": "2"})
    with Ledger(tmp_path, {"scene": "a", "program": "2"}, redo=True) as ledger:
        assert ledger.done() == set()


def test_two_sweeps_cannot_share_a_directory(tmp_path):
    with Ledger(tmp_path, ONE), pytest.raises(OutputError, match="another sweep"):
        Ledger(tmp_path, ONE)
    Ledger(tmp_path, ONE).close()


NOBODY = 65534


def test_an_unwritable_directory_is_said(tmp_path):
    """Root may write anywhere, so the test steps down for a moment where it is root."""
    tmp_path.chmod(0o500)
    root = os.geteuid() == 0
    try:
        if root:
            os.seteuid(NOBODY)
        with pytest.raises(OutputError, match="cannot be"):
            Ledger(tmp_path / "out", ONE)
        if not root:
            with pytest.raises(OutputError, match="cannot be"):
                Ledger(tmp_path, ONE)
    finally:
        if root:
            os.seteuid(0)


@contextmanager
def files_of_at_most(size):
    """Let no file grow beyond `size` bytes, as on a full disk: writes fail with EFBIG."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, limits[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, before)


def _fill(ledger, row):
    for n in range(5, 50):
        ledger.add(n, row)


def test_a_ledger_on_a_full_disk_says_so_keeps_its_rows_and_goes_on(tmp_path):
    row = {"status": "done", "filler": "x" * 5000}
    with Ledger(tmp_path, ONE) as ledger:
        for n in range(5):
            ledger.add(n, row)
        wal = tmp_path / "sweep.sqlite-wal"
        room = files_of_at_most(wal.stat().st_size + 9000)
        with room, pytest.raises(OutputError, match="cannot be written"):
            _fill(ledger, row)
        kept = ledger.done()
        assert {0, 1, 2, 3, 4} <= kept
        assert len(kept) < 50
        assert set(read_ledger(tmp_path)[1]) == kept
    with Ledger(tmp_path, ONE) as ledger:
        ledger.add(49, row)
        assert ledger.done() == kept | {49}


def test_a_file_in_the_way_and_a_foreign_directory_are_said(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="cannot be made"):
        Ledger(tmp_path / "file", ONE)
    with pytest.raises(InputError, match="holds no sweep"):
        read_ledger(tmp_path)


def test_the_program_has_one_identity():
    assert program_identity() == program_identity()
    assert program_identity().startswith("snapsim ")
