"""The ledger goes on where it stopped, for the same work only, one sweep at a time."""

import os

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


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_an_unwritable_directory_is_said(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be"):
        Ledger(tmp_path, ONE)


def test_a_file_in_the_way_and_a_foreign_directory_are_said(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="cannot be made"):
        Ledger(tmp_path / "file", ONE)
    with pytest.raises(InputError, match="holds no sweep"):
        read_ledger(tmp_path)


def test_the_program_has_one_identity():
    assert program_identity() == program_identity()
    assert program_identity().startswith("snapsim ")
