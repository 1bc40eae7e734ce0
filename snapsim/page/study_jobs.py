"""Studies of the scene as it stands, as work for a lane: rests, a map of fates, a ranked sweep.

Each is the command of that name in a process of its own (a lane's worker may have none that are
`multiprocessing`'s), so that the page says what the terminal does; cancelling asks it to end. So
does stopping, and what was found is shown: rests until then, the releases on the map, runs ranked.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any, Final

from snapsim.errors import ComputationError, InputError
from snapsim.page.jobs import Cancelled, Report
from snapsim.work.interrupts import INTERRUPTED

STUDIES: Final = ("rests", "fates", "sweep")

EVERY: Final = 0.2
"""Seconds between looks whether it is done."""

ENDING: Final = 5.0
"""Seconds that a command has to end before it is killed."""

STOPPING: Final = 20.0
"""The same where it was stopped, and has to say what it found."""

MOST_FATES: Final = 400
"""Releases of a map."""

LEAST: Final = 4
"""Releases of a map at least."""

STOPPED: Final = "Stopped: what follows is only what was found until then."


def study_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Do one study in `folder`; return what it says as "text", and "pictures", "pages" as files."""
    folder = Path(given["folder"])
    folder.mkdir()
    scene = folder / "scene.toml"
    scene.write_text(given["text"], encoding="utf-8")
    made = {"rests": _rests, "fates": _fates, "sweep": _sweep}[given["what"]]
    try:
        text = made(scene, given, report)
    except (InputError, ComputationError) as error:
        raise type(error)(str(error).replace(f"{folder}{os.sep}", "")) from None
    text = text.replace(f"{folder}{os.sep}", "")
    return {
        "what": given["what"],
        "text": text,
        "pictures": [f.name for f in sorted(folder.rglob("fate.png"))],
        "pages": [f.name for f in sorted(folder.glob("*.html"))],
        "folder": folder.name,
    }


def _rests(scene: Path, given: dict[str, Any], report: Report) -> str:
    return _told(report, "rests", "poses", scene, "--body", given["part"])


def _fates(scene: Path, given: dict[str, Any], report: Report) -> str:
    spans = "--first", given["first"], "--second", given["second"]
    few = "fate", scene, "-o", scene.parent, *spans, "--grid", "6x6", "--spots", "2", "--limit"
    watch = _watched(report, scene.parent, f"of at most {MOST_FATES} releases", MOST_FATES)
    try:
        return _told(watch, "map of fates", *few, MOST_FATES)
    except KeyboardInterrupt:
        done = _rows(scene.parent)
        if not done:
            raise
        return f"{STOPPED}\n" + _told(report, "map of fates", *few, max(done, LEAST))


def _sweep(scene: Path, given: dict[str, Any], report: Report) -> str:
    study, runs = scene.parent / "study.toml", scene.parent / "runs"
    study.write_text(given["study"], encoding="utf-8")
    watch = _watched(report, runs, "runs", 0)
    try:
        swept = _told(watch, "sweep", "sweep", study, "-o", runs, "--workers", "1")
    except KeyboardInterrupt:
        if not _rows(runs):
            raise
        swept = STOPPED
    page = scene.parent / "ranking.html"
    return swept + "\n" + _told(report, "ranking", "rank", runs, "-o", page)


def _watched(report: Report, folder: Path, of: str, most: int) -> Report:
    """Report how many rows a ledger in a folder has, too."""

    def watch(share: float, word: str) -> None:
        done = _rows(folder)
        report(done / most if most else 0.0, f"{word}: {done} {of}" if done else word)

    return watch


def _rows(folder: Path) -> int:
    """How many runs the ledger in a folder has; 0 where there is none yet."""
    for file in folder.glob("*.sqlite*"):
        try:
            with sqlite3.connect(f"file:{file}?mode=ro", uri=True, timeout=0.1) as ledger:
                found: int = ledger.execute("SELECT count(*) FROM run").fetchone()[0]
                return found
        except sqlite3.Error:  # being made, or locked: next time
            continue
    return 0


def _told(report: Report, word: str, *command: Any) -> str:
    """Run one command and return what it prints; raises InputError with what it complains of. One
    that is stopped has time to say what it found, KeyboardInterrupt where it found nothing."""
    began = time.monotonic()
    given = [sys.executable, "-m", "snapsim", *map(str, command)]
    quiet = os.environ | {"COLUMNS": "96", "NO_COLOR": "1"}
    with TemporaryFile("w+") as out, TemporaryFile("w+") as complaint:
        with _begun(given, quiet, out, complaint) as process:
            try:
                while process.poll() is None:
                    report(0.0, f"{word}, {time.monotonic() - began:.0f} s")
                    time.sleep(EVERY)
            except KeyboardInterrupt:
                _stop(process)
        out.seek(0)
        complaint.seek(0)
        said, problem = out.read(), _last(complaint.read())
    if process.returncode == INTERRUPTED:
        if not said.strip():
            raise KeyboardInterrupt
        return f"{STOPPED}\n{said.strip()}"
    if process.returncode == 2:
        raise InputError(problem)
    if process.returncode:
        raise ComputationError(problem or f"{word} ended with {process.returncode}")
    return said.strip()


def _stop(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(STOPPING)
    except subprocess.TimeoutExpired:
        raise Cancelled from None


@contextmanager
def _begun(
    command: list[str], environment: dict[str, str], out: IO[str], complaint: IO[str]
) -> Iterator[subprocess.Popen[bytes]]:
    """A process that ends with this one, and where its job is cancelled."""
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=out, stderr=complaint, env=environment
    )

    def leave(*_: Any) -> None:
        process.kill()
        os._exit(1)

    before = signal.signal(signal.SIGTERM, leave)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(ENDING)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        signal.signal(signal.SIGTERM, before)


def _last(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1].removeprefix("snapsim: ") if lines else ""


def study_begun_with(name: str) -> str:
    """Return a study of a scene to begin with: its spreads are guesses, to be replaced."""
    return f"""# The spreads are guesses: replace them by what is known of your own parts.
title = "{name.replace('"', "'")}"
scene = "scene.toml"
samples = 16
replicates = 2

[set]
"run.detail" = "draft"

[vary]
"contact.friction" = {{ triangular = [0.15, 0.3, 0.5] }}
"contact.restitution" = {{ uniform = [0.2, 0.6] }}
"""
