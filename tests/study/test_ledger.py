"""The ledger goes on where it stopped, for the same work only, one sweep at a time."""

import os
import resource
import signal
import sqlite3
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from snapsim.errors import InputError, OutputError
from snapsim.numerics.program import program_identity
from snapsim.study.ledger import Ledger, read_ledger
from snapsim.study.outcome_row import is_outcome, nothing

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


@pytest.fixture
def forty(tmp_path):
    """A closed ledger of forty runs, in one file."""
    with Ledger(tmp_path, ONE, notes={"study text": "{}"}) as ledger:
        for n in range(40):
            ledger.add(n, {"status": "done", "energy": 0.1 * n, "flags": {"snap": n % 3 == 0}})
    return tmp_path


def test_a_flipped_bit_is_named_or_changes_nothing(forty):
    whole = read_ledger(forty)
    path = forty / "sweep.sqlite"
    content = path.read_bytes()
    random = np.random.default_rng(3)
    said = []
    for place in random.integers(0, len(content), 400):
        spoilt = bytearray(content)
        spoilt[place] ^= 1 << int(random.integers(0, 8))
        path.write_bytes(spoilt)
        try:
            assert read_ledger(forty) == whole
        except InputError as error:
            said.append(str(error))
    assert len(said) > 50  # most of the file is empty pages
    assert not any("\n" in text for text in said)


def test_a_damaged_row_is_named_and_computed_anew(forty):
    base = sqlite3.connect(forty / "sweep.sqlite")
    with base:
        base.execute("UPDATE run SET result = replace(result, '0.5', '0.6') WHERE number = 5")
        base.execute("UPDATE run SET result = '{' WHERE number = 7")
    base.close()
    with pytest.raises(InputError, match=r"damaged rows \(2: 5, 7\); the same snapsim sweep"):
        read_ledger(forty)
    with Ledger(forty, ONE) as ledger:
        assert ledger.damaged == [5, 7]
        assert ledger.done() == set(range(40)) - {5, 7}


def test_what_a_ledger_is_about_is_hashed_too(forty):
    base = sqlite3.connect(forty / "sweep.sqlite")
    with base:
        base.execute("UPDATE about SET value = '{ }' WHERE key = 'study text'")
    base.close()
    with pytest.raises(InputError, match="what it is about does not match its hash"):
        read_ledger(forty)


def test_a_ledger_of_an_earlier_version_has_no_hashes_and_is_read(forty):
    base = sqlite3.connect(forty / "sweep.sqlite")
    with base:
        base.execute("ALTER TABLE run DROP COLUMN digest")
        base.execute("DELETE FROM about WHERE key = 'digest'")
    base.close()
    assert len(read_ledger(forty)[1]) == 40


def test_where_nothing_can_be_written_a_copy_is_read_with_its_write_ahead_log(
    tmp_path, monkeypatch
):
    opened = sqlite3.connect

    def refused(path, *rest):
        if tmp_path in Path(path).parents:
            raise sqlite3.OperationalError("attempt to write a readonly database")
        return opened(path, *rest)

    with Ledger(tmp_path, ONE) as ledger:
        ledger.add(1, {"status": "done"})
        assert (tmp_path / "sweep.sqlite-wal").stat().st_size > 0
        monkeypatch.setattr(sqlite3, "connect", refused)
        assert read_ledger(tmp_path)[1] == {1: {"status": "done"}}
        monkeypatch.undo()


def test_the_program_has_one_identity():
    assert program_identity() == program_identity()
    assert program_identity().startswith("snapsim ")


def test_a_row_without_what_its_reader_needs_is_damaged(tmp_path):
    good = {"status": "done", "reason": "", "flags": {"snap": True}, "measures": {}}
    good["measures"] = {"effective_energy_J": 2.0}
    bad = [
        {},
        {"status": "odd"} | {k: good[k] for k in ("reason", "flags", "measures")},
        good | {"flags": {"snap": 1}},
        good | {"flags": None},
        good | {"measures": {}},
        good | {"measures": {"effective_energy_J": "2 J"}},
        good | {"measures": {"effective_energy_J": float("inf")}},
        good | {"hands": {"thumb": {}}},
        {k: v for k, v in good.items() if k != "flags"},
    ]
    with Ledger(tmp_path, ONE) as ledger:
        for n, result in enumerate([good, nothing("failed", "x"), *bad]):
            ledger.add(n, {"status": "done"} | result)
    with Ledger(tmp_path, ONE, row=is_outcome) as ledger:
        assert ledger.done() == {0, 1}
        assert ledger.damaged == list(range(2, 2 + len(bad)))


def test_a_file_that_is_no_data_base_is_one_line(tmp_path):
    (tmp_path / "sweep.sqlite").write_bytes(b"no data base at all" * 100)
    with pytest.raises(OutputError, match=r"sweep.sqlite: is damaged \(.*move it away"):
        Ledger(tmp_path, ONE)
    with pytest.raises(InputError, match="cannot be read"):
        read_ledger(tmp_path)


def test_what_a_damaged_row_holds_is_not_quoted(forty):
    base = sqlite3.connect(forty / "sweep.sqlite")
    with base:
        base.execute("UPDATE run SET result = CAST(x'7b0a22ff0a22' AS TEXT) WHERE number = 5")
    base.close()
    for read in (lambda: Ledger(forty, ONE), lambda: read_ledger(forty)):
        with pytest.raises((InputError, OutputError)) as caught:
            read()
        assert "\n" not in str(caught.value)
        assert "sweep.sqlite: " in str(caught.value)
