"""Compiling side by side: each part once, never half, shown as it goes; without a folder too."""

import io
import os
import signal
import subprocess
import sys
import time

import pytest

from snapsim.work import first_compilation
from snapsim.work.first_compilation import compile_parts

PARTS = """
import os, sys, time
def note(name):
    with open(os.path.join(os.path.dirname(__file__), name), "a") as file:
        file.write("x")
def one(): note("one")
def two(): note("two")
def bad():
    raise ValueError("no such luck")
def slow():
    note("slow")
    time.sleep(60)
"""


@pytest.fixture
def parts(tmp_path, monkeypatch):
    """Parts of a module in a folder of its own, on a machine of two processors; where it is."""
    (tmp_path / "parts_of_a_test.py").write_text(PARTS)
    monkeypatch.syspath_prepend(str(tmp_path))
    kept = tmp_path / "kept"
    kept.mkdir()
    monkeypatch.setattr(first_compilation, "kernel_folder", lambda: kept)
    monkeypatch.setattr(first_compilation, "_writable_folder", lambda: kept)
    monkeypatch.setattr(first_compilation, "processors", lambda: 2)
    return {name: f"parts_of_a_test:{name}" for name in ("one", "two", "bad", "slow")}


def test_each_part_runs_once_and_never_again(parts, tmp_path):
    done = compile_parts(parts, ["one", "two"])
    again = compile_parts(parts, ["two", "one"])
    assert (set(done.compiled), done.failed) == ({"one", "two"}, {})
    assert again.compiled == ()
    assert [(tmp_path / name).read_text() for name in ("one", "two")] == ["x", "x"]


def test_only_what_is_needed_runs(parts, tmp_path):
    compile_parts(parts, ["one"])
    assert not (tmp_path / "two").exists()
    assert compile_parts(parts, ["one", "two"]).compiled == ("two",)
    assert (tmp_path / "one").read_text() == "x"


def test_a_part_that_fails_is_named_and_tried_again(parts):
    """The others count as done; this run goes on and compiles as it needs."""
    for _ in range(2):
        done = compile_parts(parts, ["bad", "one"])
        assert done.failed == {"bad": "ValueError: no such luck"}


def test_other_sources_are_compiled_anew(parts, tmp_path, monkeypatch):
    compile_parts(parts, ["one"])
    monkeypatch.setattr(first_compilation, "_digest", lambda: "compiled-other")
    compile_parts(parts, ["one"])
    assert (tmp_path / "one").read_text() == "xx"


def test_progress_counts_the_parts_that_are_done(parts):
    told = []
    compile_parts(parts, ["one", "two"], lambda *said: told.append(said))
    assert {of_all for _, _, of_all in told} == {2}
    assert [done for _, done, _ in told] == sorted(done for _, done, _ in told)
    assert told[0] == ("compiling one, two", 0, 2)


def test_an_interrupt_ends_the_parts(parts, tmp_path):
    """Nothing goes on in the background, and no stamp says that it was done."""

    def press(_said, _done, _of_all):
        if (tmp_path / "slow").exists():
            raise KeyboardInterrupt

    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        compile_parts(parts, ["slow"], press)
    assert time.monotonic() - began < 50.0  # it would have slept for 60
    assert [path.suffix for path in (tmp_path / "kept").iterdir()] == [".lock"]


class _Terminal(io.StringIO):
    def isatty(self):
        return True


def test_an_interrupt_while_a_part_begins_leaves_none_behind(parts, monkeypatch):
    begun, begin = [], subprocess.Popen

    def interrupted(*given, **more):
        begun.append(begin(*given, **more))
        os.kill(os.getpid(), signal.SIGINT)  # it runs, and nobody has been told of it
        return begun[-1]

    monkeypatch.setattr(first_compilation.subprocess, "Popen", interrupted)
    try:
        with pytest.raises(KeyboardInterrupt):
            compile_parts(parts, ["slow"])
        assert [process.poll() for process in begun] == [-signal.SIGTERM]
    finally:
        for process in begun:
            process.kill()
            process.wait()


def test_a_terminal_is_told_in_one_line_that_is_wiped_out(parts, monkeypatch):
    monkeypatch.setattr(sys, "stderr", _Terminal())
    compile_parts(parts, ["one", "two"])
    said = sys.stderr.getvalue().split("\r\x1b[K")
    assert "first use: compiling one, two: 0 of 2 parts, 0 s" in said[1]
    assert said[-1] == ""
    assert "\n" not in "".join(said)


def test_elsewhere_nothing_is_said(parts, capsys):
    compile_parts(parts, ["one"])
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("home", [True, False])
def test_where_nothing_can_be_kept_it_says_so_in_one_line(
    parts, tmp_path, monkeypatch, capsys, home
):
    monkeypatch.undo()
    (tmp_path / "file").write_text("in the way")
    folder = tmp_path / "file" / "kernels" if home else None
    monkeypatch.setattr(first_compilation, "kernel_folder", lambda: folder)
    first_compilation._writable_folder.cache_clear()
    try:
        for _ in range(2):
            assert compile_parts(parts, ["one"]).folder is None
    finally:
        first_compilation._writable_folder.cache_clear()
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith("snapsim: compiled functions cannot be kept (")
    assert "SNAPSIM_CACHE" in said
    assert not (tmp_path / "one").exists()
