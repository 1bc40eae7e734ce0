"""The first use of an installation: kernels are compiled once, several processes side by side.

A kernel is compiled when it is first called, and kept (`numerics.compilation`). One after another
that takes minutes; but kernels of different matters hardly share any, so each part of the program
is called in a process of its own, on a tiny case. Which parts there are is said by those above. A
stamp beside the compiled files says of each part that it was done for these sources; without one,
or with a wrong one, a kernel is compiled where it is first needed: nothing here changes a result.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO, Final

from filelock import FileLock

from snapsim.numerics.compilation import kernel_folder, toolchain
from snapsim.work.interrupts import held_back
from snapsim.work.progress import Progress

GLANCE: Final = 0.2
"""Seconds between looks at the processes."""


@dataclass(frozen=True)
class FirstCompilation:
    """What came of it: the `folder` (None where nothing can be kept), the parts that were compiled
    now, the last line said by each part that failed, and the time it took."""

    folder: Path | None
    compiled: tuple[str, ...]
    failed: Mapping[str, str]
    seconds: float


def compile_parts(
    parts: Mapping[str, str], of_all: Sequence[str], progress: Progress | None = None
) -> FirstCompilation:
    """Run those of `parts` (name: "module:function") that were not run for these sources yet.

    `of_all` are the names wanted, what takes longest first. Other processes that ask meanwhile
    wait. Without `progress` a line on standard error says how far it is, where that is a terminal.
    """
    began, folder = time.monotonic(), kernel_folder()
    stamps = {} if folder is None else {name: folder / f"{_digest()}-{name}" for name in of_all}
    if folder is not None and all(os.path.exists(stamp) for stamp in stamps.values()):
        return FirstCompilation(folder, (), {}, 0.0)  # where it may be read-only
    folder = _writable_folder()
    if folder is None:
        return FirstCompilation(None, (), {}, 0.0)
    told = progress or _on_a_terminal(began)
    with FileLock(folder / f"{_digest()}.lock"):
        left = [name for name, stamp in stamps.items() if not stamp.exists()]
        try:
            failed = _run(parts, left, stamps, told)
        finally:
            if progress is None:
                told("", 0, 0)
    done = tuple(name for name in left if name not in failed)
    return FirstCompilation(folder, done, failed, time.monotonic() - began)


def _run(
    parts: Mapping[str, str], names: Sequence[str], stamps: Mapping[str, Path], told: Progress
) -> dict[str, str]:
    """Run parts, as many at once as there are processors; the last lines of those that failed."""
    waiting, running, failed = list(names), list[_Running](), dict[str, str]()
    with tempfile.TemporaryDirectory() as folder:
        try:
            while waiting or running:
                while waiting and len(running) < processors():
                    name = waiting.pop(0)
                    said = (Path(folder) / name).open("w+b")
                    with held_back():  # one begun and not yet known would be left behind
                        running.append(_Running(name, _begin(parts[name], said), said))
                now = ", ".join(part.name for part in running)
                told(f"compiling {now}", len(names) - len(waiting) - len(running), len(names))
                with suppress(subprocess.TimeoutExpired):
                    running[0].process.wait(GLANCE)
                for part in [p for p in running if p.process.poll() is not None]:
                    running.remove(part)
                    if part.process.returncode == 0:
                        stamps[part.name].touch()
                    else:
                        failed[part.name] = part.last_line()
                    part.said.close()
        finally:
            for part in running:
                part.process.terminate()
                part.process.wait()
                part.said.close()
    return failed


@dataclass(frozen=True)
class _Running:
    """A part at work, and the file of what it says."""

    name: str
    process: subprocess.Popen[bytes]
    said: IO[bytes]

    def last_line(self) -> str:
        self.said.seek(0)
        lines = self.said.read().decode(errors="replace").strip().splitlines()
        return lines[-1] if lines else f"ended with status {self.process.returncode}"


def processors() -> int:
    """Return how many processors this process may use."""
    known = getattr(os, "sched_getaffinity", None)
    return len(known(0)) if known else os.cpu_count() or 1


def _begin(part: str, said: IO[bytes]) -> subprocess.Popen[bytes]:
    module, function = part.split(":")
    code = f"import sys; sys.path[:] = {sys.path!r}; from {module} import {function}; {function}()"
    quiet = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, "-c", code], stdin=quiet, stdout=quiet, stderr=said)


@cache
def _digest() -> str:
    """A name for the sources with kernels, the compiler and the processor."""
    root = Path(__file__).parents[1]
    digest = hashlib.sha256(repr(toolchain()).encode())
    for path in sorted(root.rglob("*.py")):
        source = path.read_bytes()
        if b"numerics.compilation import" in source:
            digest.update(f"{path.relative_to(root).as_posix()} ".encode() + source)
    return "compiled-" + digest.hexdigest()[:20]


@cache
def _writable_folder() -> Path | None:
    """The folder of compiled files; None, and a line that says so, where none can be kept."""
    folder = kernel_folder()
    reason = "no home folder is known"
    if folder is not None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            tempfile.TemporaryFile(dir=folder).close()
            return folder
        except OSError as error:
            reason = f"{folder}: {error.strerror}"
    print(
        f"snapsim: compiled functions cannot be kept ({reason}): every start compiles what it needs"
        " anew, a minute or two; SNAPSIM_CACHE names a folder that can be written",
        file=sys.stderr,
    )
    return None


def _on_a_terminal(began: float) -> Progress:
    """Show one line that is written over, and wiped out at the end."""
    if sys.stderr is None or not sys.stderr.isatty():
        return lambda said, done, of_all: None

    def tell(said: str, done: int, of_all: int) -> None:
        seconds = time.monotonic() - began
        line = f"snapsim: first use: {said}: {done} of {of_all} parts, {seconds:.0f} s"
        sys.stderr.write(f"\r\x1b[K{line if of_all else ''}")
        sys.stderr.flush()

    return tell
