"""Closed or full streams, full disks, requests to end: one line, and nothing is lost or left."""

import errno
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from snapsim.cli.faults import status_of
from snapsim.errors import NotWritten

OUTPUTS = {
    "closed": (">&-", "it is closed"),
    "full": (">/dev/full", "No space left on device"),  # full(4), Linux
}


def shell(line, **options):
    """Run a line of shell in which $SNAPSIM is the program; standard error as text."""
    environment = {**os.environ, "SNAPSIM": f"{sys.executable} -m snapsim"}
    return subprocess.run(
        ["sh", "-c", line],
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        timeout=120,
        **options,
    )


@pytest.mark.parametrize("way", OUTPUTS)
@pytest.mark.parametrize("arguments", ["materials", "materials --json", "--version"])
def test_an_output_that_takes_nothing_is_one_line(way, arguments):
    redirection, reason = OUTPUTS[way]
    if way == "full" and not Path("/dev/full").exists():
        pytest.skip("no /dev/full on this system")
    done = shell(f"$SNAPSIM {arguments} {redirection}")
    assert done.returncode == 3
    assert done.stderr == f"snapsim: standard output cannot be written: {reason}\n"


def test_a_closed_error_stream_sends_no_complaint_to_the_output(tmp_path):
    done = subprocess.run(
        ["sh", "-c", f"exec {sys.executable} -m snapsim check none.toml 2>&-"],
        stdout=subprocess.PIPE,
        cwd=tmp_path,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, b"")


def test_files_take_no_number_of_a_closed_stream(falling, tmp_path):
    # a file opened first would be standard output, and get the table
    done = shell(f"$SNAPSIM release {falling} -o run.h5 >&-", cwd=tmp_path)
    assert done.stderr == "snapsim: standard output cannot be written: it is closed\n"
    import snapsim

    assert snapsim.read_run(tmp_path / "run.h5").impacts


def test_a_disk_without_room_for_the_run_is_said_before_a_byte_is_written(
    snap, falling, tmp_path, monkeypatch
):
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr("snapsim.storage.writing.disk_usage", lambda _: usage._replace(free=1000))
    result = snap("release", falling, "-o", "run.h5", "--json")
    assert result.status == 3
    assert result.json["impacts"]
    assert result.err.count("\n") == 1
    assert "run.h5: cannot be written: " in result.err
    assert "bytes are due, 1,000 are free on the disk" in result.err
    assert [p.name for p in tmp_path.iterdir()] == [falling]


def test_a_sweep_on_a_full_disk_is_one_line(falling, tmp_path):
    (tmp_path / "s.study.toml").write_text(
        f'scene = "{falling}"\nsamples = 2\nreplicates = 1\n[vary]\n'
        '"contact.restitution" = { uniform = [0.2, 0.4] }\n'
    )
    small = 4096  # bytes a file may have: SQLite's own full disk

    def limit():
        resource.setrlimit(resource.RLIMIT_FSIZE, (small, small))

    done = shell("$SNAPSIM sweep s.study.toml -o out --workers 1", cwd=tmp_path, preexec_fn=limit)
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert "out/sweep.sqlite: cannot be written: " in done.stderr


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (PermissionError(13, "Permission denied", "x.toml"), "x.toml: Permission denied"),
        (OSError(24, "Too many open files"), "scene.toml: Too many open files"),
        (MemoryError(), "scene.toml: needs more memory than there is"),
        (ZeroDivisionError("by zero"), "scene.toml: unexpected fault: ZeroDivisionError: by zero"),
    ],
)
def test_what_nobody_foresaw_names_the_file_too(error, said, capsys, monkeypatch):
    monkeypatch.delenv("SNAPSIM_DEBUG", raising=False)
    assert status_of(error, ["release", "--json", "scene.toml"]) == 3
    err = capsys.readouterr().err
    assert err.startswith(f"snapsim: {said}")
    assert err.count("\n") == 1


def dead_process():
    """A number that was a process's and is none's now."""
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return process.pid


def test_what_a_killed_process_left_goes_with_the_next_run(snap, falling, tmp_path):
    gone, other = f".run.h5.{dead_process()}.part", f".else.h5.{dead_process()}.part"
    alive = f".run.h5.{os.getppid()}.part"
    for name in (gone, other, alive):
        (tmp_path / name).touch()
    assert snap("release", falling, "-o", "run.h5").status == 0
    assert sorted(p.name for p in tmp_path.glob(".*.part")) == sorted([other, alive])


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_request_to_end_does_what_an_interrupt_does(number, tmp_path):
    os.mkfifo(tmp_path / "scene.toml")
    process = subprocess.Popen(
        [sys.executable, "-m", "snapsim", "check", tmp_path / "scene.toml"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with open(tmp_path / "scene.toml", "w"):  # opens when the command begins to read
        time.sleep(0.2)
        process.send_signal(number)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out, err) == (130, "", "")


def test_a_pipe_that_nobody_writes_to_is_one_line(snap, tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "scene.toml")
    monkeypatch.setattr("snapsim.scenario.text_file.PATIENCE", 0.1)
    result = snap("check", "scene.toml")
    assert result.status == 2
    assert "scene.toml: is a pipe that nobody wrote to for 0.1 s" in result.err


def test_a_scene_may_come_through_a_pipe(falling, tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    line = f"(sleep 1; cat {falling} > pipe.toml) & $SNAPSIM check pipe.toml"
    done = shell(line, cwd=tmp_path, stdout=subprocess.PIPE)
    assert done.returncode == 0
    assert done.stdout.startswith("A ball falls on a table")


def test_names_that_are_no_text_are_written_out(snap, falling, tmp_path):
    import snapsim

    odd = os.fsdecode(b"caf\xe9.toml")
    (tmp_path / odd).write_text((tmp_path / falling).read_text())
    assert snap("release", odd, "-o", "run.h5").status == 0
    assert snapsim.read_run(tmp_path / "run.h5").system.file == "caf\\udce9.toml"
    assert snap("new", os.fsdecode(b"n\xe9.toml")).status == 0
    assert snap("new", "a\nb = 1.toml").status == 0
    assert snap("check", "a\nb = 1.toml").status == 0


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("/dev/null", "is a device or a pipe"),
        ("a" * 300, "is no file's name: File name too long"),
        ("a\0b", "is no file's name"),
    ],
)
def test_what_no_result_can_be_written_to_is_refused_first(name, said, snap, falling, monkeypatch):
    monkeypatch.setattr("snapsim.release", None)
    result = snap("release", falling, "-o", name, "--force")
    assert result.status == 2
    assert said in result.err


def not_written(number):
    try:
        raise OSError(number, "x")
    except OSError:
        raise NotWritten("out: cannot be written: x") from None


@pytest.mark.parametrize(("number", "status"), [(errno.EBADF, 130), (errno.ENOSPC, 3)])
def test_after_a_request_to_end_a_closed_pipe_is_no_fault_and_a_full_disk_is(
    number, status, monkeypatch, capsys
):
    """A pool that is being ended closes pipes under what still writes to them (seen once)."""
    monkeypatch.setattr("snapsim.cli.faults.asked_to_end", lambda: True)
    with pytest.raises(NotWritten) as raised:
        not_written(number)
    assert status_of(raised.value, ["sweep", "s.toml"]) == status
    assert capsys.readouterr().err.count("\n") == (status == 3)
