"""Hands cases to a worker, ends it where one takes too long, keeps what went wrong."""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.fuzz import BYTES, SECONDS

ROOT = Path(__file__).parents[2]
SOUND = ("read", "refused")
WAITING = 15.0
"""Seconds by the clock that a worker has for a second of its own, on a busy machine."""
PATIENCE = 120.0
"""Seconds for a worker's first case of a kind: imports, kernels that are read or compiled."""
GLANCE = 1.0
"""Seconds between looks at how much of its own time a worker has taken."""


@dataclass
class Tally:
    """What the cases of a kind came to, the longest time [s], the most memory [bytes]."""

    came_to: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    bytes: int = 0
    slowest: int = -1
    largest: int = -1

    def take(self, number: int, found: dict[str, Any]) -> None:
        """Count one."""
        self.came_to[found["came to"]] += 1
        if found["seconds"] > self.seconds:
            self.seconds, self.slowest = found["seconds"], number
        if found["bytes"] > self.bytes:
            self.bytes, self.largest = found["bytes"], number


class Worker:
    """A process that is asked case after case, and begun anew where it was ended."""

    def __init__(
        self, base: Path, module: str = "tests.fuzz.worker", seconds: float = SECONDS
    ) -> None:
        self.base, self.module, self.seconds = base, module, seconds
        self._process: subprocess.Popen[str] | None = None
        self._met: set[str] = set()

    def ask(self, kind: str, number: int, folder: Path) -> dict[str, Any]:
        """What a case came to, made in `folder`."""
        process = self._running()
        assert process.stdin is not None
        assert process.stdout is not None
        asked = {"kind": kind, "number": number, "folder": str(folder), "base": str(self.base)}
        began = time.monotonic()
        process.stdin.write(json.dumps(asked) + "\n")
        process.stdin.flush()
        limit = self.seconds if kind in self._met else PATIENCE
        answered = _answers(process, limit)
        line = process.stdout.readline() if answered else ""
        took = time.monotonic() - began
        if not line:
            came_to = f"died ({process.wait()})" if answered else "too long"
            self.close()
            return {"came to": came_to, "said": "", "seconds": took, "bytes": 0}
        found: dict[str, Any] = json.loads(line)
        return self._judged(kind, found)

    def _judged(self, kind: str, found: dict[str, Any]) -> dict[str, Any]:
        """A sound end that took too long or too much is none; the first case of a kind imports."""
        first = kind not in self._met
        self._met.add(kind)
        if first or found["came to"] not in SOUND:
            return found | ({"seconds": 0.0, "bytes": 0} if first else {})
        if found["seconds"] > self.seconds:
            return found | {"came to": "too long"}
        return found | {"came to": "memory"} if found["bytes"] > BYTES else found

    def _running(self) -> subprocess.Popen[str]:
        if self._process is None or self._process.poll() is not None:
            self._met.clear()
            self._process = subprocess.Popen(
                [sys.executable, "-m", self.module],
                cwd=ROOT,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                env={
                    **os.environ,
                    "PYTHONPATH": f"{ROOT}{os.pathsep}{os.environ.get('PYTHONPATH', '')}",
                },
            )
        return self._process

    def close(self) -> None:
        """End the process."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    pipe.close()


def _answers(process: subprocess.Popen[str], limit: float) -> bool:
    """Whether a worker says something, or ends, within some seconds of its own time: the processor
    may be shared with others. Where its own time can't be read, or stands still, the clock tells.
    """
    began, spent = time.monotonic(), _spent(process.pid)
    while time.monotonic() - began < WAITING * limit:
        if select.select([process.stdout], [], [], GLANCE)[0]:
            return True
        if _spent(process.pid) - spent > 2 * limit:  # the worker itself knows to the millisecond
            return False
    return False


def _spent(process: int) -> float:
    """Processor time [s] that a process has taken (proc(5), fields 14 and 15 of stat)."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return 0.0


def run_cases(
    worker: Worker, cases: Iterable[tuple[str, int]], kept: Path | None = None
) -> Iterator[tuple[str, int, dict[str, Any]]]:
    """Yield kind, number and what it came to, of each case; keep the files of what went wrong."""
    for kind, number in cases:
        folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
        try:
            found = worker.ask(kind, number, folder)
            if found["came to"] == "too long":  # or the first to need some kernel
                found = _again(worker, kind, number, folder)
            if found["came to"] not in SOUND and kept is not None:
                _keep(kept / f"{kind}-{number}", folder, found)
            yield kind, number, found
        finally:
            shutil.rmtree(folder, ignore_errors=True)


def _again(worker: Worker, kind: str, number: int, folder: Path) -> dict[str, Any]:
    """What a case comes to that may take its time once, and none after that."""
    for _ in range(2):
        for old in folder.iterdir():
            shutil.rmtree(old) if old.is_dir() else old.unlink()
        found = worker.ask(kind, number, folder)
    return found


def _keep(target: Path, folder: Path, found: dict[str, Any]) -> None:
    """Keep the files of a case, and what it came to."""
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(folder, target)
    (target / "came-to.json").write_text(json.dumps(found, indent=1))
