"""The ledger of a sweep: one SQLite file, one row a run, written as each is done.

A ledger belongs to one `identity`: what was computed (scene, study) and by what (program,
libraries). Opened again with the same identity it goes on where it stopped, at whatever moment that
was: a row is there whole or not at all (write-ahead log, one transaction a row). With another
identity it is refused, or emptied where that is asked for. One process at a time holds it.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import version
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import FileLock, Timeout

from snapsim.errors import InputError, OutputError

NAME = "sweep.sqlite"
FORMAT = "snapsim sweep 1"

_TABLES = """
CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS run (
  number INTEGER PRIMARY KEY, status TEXT NOT NULL, result TEXT NOT NULL, cpu_s REAL
);
"""

_NOT_COMPUTING = {"cli", "render", "page"}
"""Folders of the program that no number in a ledger depends on."""


class Ledger:
    """The open ledger of one directory.

    `notes` are kept beside the identity and compared with nothing. Use as a context manager.
    Raises OutputError where it cannot be written, is held by another process, or belongs to another
    identity and `redo` is not given.
    """

    def __init__(
        self,
        folder: str | PathLike[str],
        identity: Mapping[str, str],
        redo: bool = False,
        notes: Mapping[str, str] | None = None,
    ) -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{self.folder}: cannot be made: {error.strerror}") from None
        self._lock = _locked(self.folder)
        try:
            with _spoken(self.folder):
                self._base = sqlite3.connect(self.folder / NAME)
                self._base.execute("PRAGMA journal_mode=WAL")
                self._base.executescript(_TABLES)
            self._admit(identity, redo, notes or {})
        except BaseException:
            self._lock.release()
            raise

    def _admit(self, identity: Mapping[str, str], redo: bool, notes: Mapping[str, str]) -> None:
        """Go on with a ledger of this identity, or begin one."""
        wanted = {"format": FORMAT, **identity}
        notes = dict(notes)
        known = dict(self._base.execute("SELECT key, value FROM about"))
        changed = [k for k, v in wanted.items() if known.get(k) != v]
        if known and changed and not redo:
            raise OutputError(
                f"{self.folder}: holds runs of another {' and '.join(changed)};"
                " use --redo to compute all anew, or another directory"
            )
        with _spoken(self.folder), self._base:
            if redo:
                self._base.execute("DELETE FROM run")
            self._base.execute("DELETE FROM about")
            self._base.executemany("INSERT INTO about VALUES (?, ?)", (notes | wanted).items())

    def done(self) -> set[int]:
        """Return the numbers of the runs that are in the ledger."""
        return {n for (n,) in self._base.execute("SELECT number FROM run")}

    def add(self, number: int, result: Mapping[str, Any]) -> None:
        """Write one run's result, whole or not at all; raises OutputError (a full disk)."""
        plain = {k: v for k, v in result.items() if k not in ("number", "cpu_s")}
        row = (number, result["status"], json.dumps(plain, sort_keys=True), result.get("cpu_s"))
        with _spoken(self.folder), self._base:
            self._base.execute("INSERT OR REPLACE INTO run VALUES (?, ?, ?, ?)", row)

    def results(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """Yield (number, result) in order of number."""
        return _results(self._base)

    def close(self) -> None:
        """Close the file and let others have the directory."""
        self._base.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def read_ledger(folder: str | PathLike[str]) -> tuple[dict[str, str], dict[int, dict[str, Any]]]:
    """Return what a ledger is about and its results by number, also while a sweep is running.

    Raises InputError where there is none.
    """
    path = Path(folder) / NAME
    if not path.is_file():
        raise InputError(f"holds no sweep ({NAME}); make one with snapsim sweep", file=str(folder))
    try:
        base = sqlite3.connect(path)
        about = dict(base.execute("SELECT key, value FROM about"))
        results = dict(_results(base))
        base.close()
    except sqlite3.Error as error:
        raise InputError(f"cannot be read: {error}", file=str(path)) from None
    if about.get("format") != FORMAT:
        raise InputError(f'is no ledger of this version ("{FORMAT}" is due)', file=str(path))
    return about, results


def fingerprint(*texts: str) -> str:
    """Return the hash of texts."""
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()


def program_identity() -> str:
    """Return a text that changes when the program's numbers may: its code and its libraries."""
    package = Path(__file__).parents[1]
    code = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        inside = path.relative_to(package)
        if inside.parts[0] not in _NOT_COMPUTING:
            code.update(str(inside).encode() + b"\0" + path.read_bytes())
    libraries = " ".join(f"{p} {version(p)}" for p in ("numpy", "scipy", "numba"))
    return f"snapsim {version('snapsim')} ({code.hexdigest()[:16]}), {libraries}"


def _results(base: sqlite3.Connection) -> Iterator[tuple[int, dict[str, Any]]]:
    for number, result in base.execute("SELECT number, result FROM run ORDER BY number"):
        yield number, json.loads(result)


def _locked(folder: Path) -> FileLock:
    lock = FileLock(folder / ".sweep.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise OutputError(f"{folder}: another sweep is at work there; wait for it") from None
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written to: {error.strerror}") from None
    return lock


@contextmanager
def _spoken(folder: Path) -> Iterator[None]:
    """Turn a fault of the data base into one line."""
    try:
        yield
    except sqlite3.Error as error:
        raise OutputError(f"{folder / NAME}: cannot be written: {error}") from None
