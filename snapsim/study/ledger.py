"""The ledger of a sweep: one SQLite file, one row a run, written as each is done.

A ledger belongs to one `identity`: what was computed (scene, study) and by what (program,
libraries). Opened again with the same identity it goes on where it stopped, at whatever moment that
was: a row is there whole or not at all (write-ahead log, one transaction a row). With another
identity it is refused, or emptied where that is asked for. One process at a time holds it.
Each row has a hash, and is what its reader says a row must be: one that is damaged is named by a
reader, and computed anew by a sweep.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from os import PathLike
from pathlib import Path
from typing import Any, Final

from filelock import FileLock, Timeout

from snapsim.errors import InputError, NotWritten, OutputError
from snapsim.work.held_open import HeldOpen

NAME = "sweep.sqlite"
FORMAT = "snapsim sweep 1"

DIGEST = "digest"
"""Key of the hash of all else that a ledger says it is about."""

_ABOUT = "CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL)"
_RUNS = """CREATE TABLE IF NOT EXISTS run (
  number INTEGER PRIMARY KEY, status TEXT NOT NULL, result TEXT NOT NULL, cpu_s REAL, digest TEXT
)"""

RowCheck = Callable[[dict[str, Any]], bool]
"""Whether a result has what whoever reads it needs."""

_NOT_TAKEN: Final = {
    *(sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM),
    *(sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_IOERR),
    *(sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMOPEN, sqlite3.SQLITE_IOERR_SHMMAP),
    *(sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_IOERR_TRUNCATE),
}
"""Faults of the disk, not of what is on it."""


class Ledger(HeldOpen):
    """The open ledger of one directory.

    `notes` are kept beside the identity and compared with nothing. `damaged` are the numbers of
    rows that were left out: their hash does not match, or they are no `row`. Use as a context
    manager. Raises OutputError where it cannot be written, is held by another process, or belongs
    to another identity and `redo` is not given.
    """

    def __init__(
        self,
        folder: str | PathLike[str],
        identity: Mapping[str, str],
        redo: bool = False,
        notes: Mapping[str, str] | None = None,
        row: RowCheck = bool,
    ) -> None:
        self.folder, self._row = Path(folder), row
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{self.folder}: cannot be made: {error.strerror}") from None
        except ValueError:
            raise OutputError("is no folder's name") from None
        self._lock = _locked(self.folder)
        try:
            with _spoken(self.folder):
                self._base = sqlite3.connect(self.folder / NAME)
                self._base.execute("PRAGMA journal_mode=WAL")
                self._base.execute(_ABOUT)
                self._base.execute(_RUNS)
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
        with self._base:
            if redo:
                self._base.execute("DROP TABLE run")
                self._base.execute(_RUNS)
            told = notes | wanted
            told[DIGEST] = _digest_of(told)
            self._base.execute("DELETE FROM about")
            self._base.executemany("INSERT INTO about VALUES (?, ?)", told.items())
            self.damaged = _read(self._base, self._row)[1]
            self._base.executemany("DELETE FROM run WHERE number = ?", [(n,) for n in self.damaged])

    def done(self) -> set[int]:
        """Return the numbers of the runs that are in the ledger."""
        return {n for (n,) in self._base.execute("SELECT number FROM run")}

    def add(self, number: int, result: Mapping[str, Any]) -> None:
        """Write one run's result, whole or not at all; raises OutputError (a full disk)."""
        plain = {k: v for k, v in result.items() if k not in ("number", "cpu_s")}
        status, text = result["status"], json.dumps(plain, sort_keys=True)
        digest = fingerprint(str(number), status, text)
        row = (number, status, text, result.get("cpu_s"), digest)
        with _spoken(self.folder), self._base:
            self._base.execute("INSERT OR REPLACE INTO run VALUES (?, ?, ?, ?, ?)", row)

    def results(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """Yield (number, result) in order of number."""
        with _spoken(self.folder):
            return iter(_read(self._base, self._row)[0].items())

    def close(self) -> None:
        """Close the file and let others have the directory."""
        self._base.close()
        self._lock.release()


def read_ledger(
    folder: str | PathLike[str], row: RowCheck = bool
) -> tuple[dict[str, str], dict[int, dict[str, Any]]]:
    """Return what a ledger is about and its results by number, also while a sweep is running.

    Raises InputError where there is none, and for one that is damaged.
    """
    path = Path(folder) / NAME
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        raise InputError(f"holds no sweep ({NAME}); make one with snapsim sweep", file=str(folder))
    try:
        about, (results, damaged) = _looked_into(path, row)
    except (sqlite3.Error, OSError) as error:
        raise InputError(f"cannot be read: {_short(error)}", file=str(path)) from None
    except (ValueError, TypeError, OverflowError, MemoryError):
        raise InputError("is damaged: it holds what no sweep wrote", file=str(path)) from None
    if about.get("format") != FORMAT:
        raise InputError(f'is no ledger of this version ("{FORMAT}" is due)', file=str(path))
    if about.pop(DIGEST, None) not in (None, _digest_of(about)):
        raise InputError(
            "is damaged: what it is about does not match its hash; use sweep --redo", file=str(path)
        )
    if damaged:
        raise InputError(_damaged_words(damaged), file=str(path))
    return about, results


def _damaged_words(rows: list[int]) -> str:
    shown = ", ".join(map(str, rows[:10])) + (" ..." if len(rows) > 10 else "")
    return (
        f"has damaged rows ({len(rows)}: {shown}); the same snapsim sweep command computes"
        " them anew"
    )


LedgerRows = tuple[dict[int, dict[str, Any]], list[int]]
"""Results by number, and the numbers of rows that are damaged."""


def _looked_into(path: Path, row: RowCheck) -> tuple[dict[str, str], LedgerRows]:
    """What a ledger is about, and its rows. SQLite writes beside a file that it only reads: where
    it may not, a copy is looked into."""
    try:
        return _asked(path, row)
    except sqlite3.OperationalError:
        with tempfile.TemporaryDirectory() as copy:
            for name in (NAME, f"{NAME}-wal"):
                if (path.parent / name).is_file():
                    shutil.copyfile(path.parent / name, Path(copy) / name)
            return _asked(Path(copy) / NAME, row)


def _asked(path: Path, row: RowCheck) -> tuple[dict[str, str], LedgerRows]:
    with closing(sqlite3.connect(path)) as base:
        answer = base.execute("PRAGMA quick_check(1)").fetchone()[0]
        if answer != "ok":
            raise sqlite3.DatabaseError(" ".join(str(answer).split())[:120])
        about = {str(k): str(v) for k, v in base.execute("SELECT key, value FROM about")}
        return about, _read(base, row)


def fingerprint(*texts: str) -> str:
    """Return the hash of texts."""
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()


def _read(base: sqlite3.Connection, row: RowCheck) -> LedgerRows:
    """The rows; those of an earlier version have no hash."""
    hashed = "digest" in [column[1] for column in base.execute("PRAGMA table_info(run)")]
    rows = base.execute(
        f"SELECT number, status, result, {'digest' if hashed else 'NULL'} FROM run ORDER BY number"
    )
    results, damaged = dict[int, dict[str, Any]](), list[int]()
    for number, status, text, digest in rows:
        try:
            found = json.loads(text)
            sound = digest == fingerprint(str(number), status, text) if hashed else True
            sound = sound and isinstance(found, dict) and row(found)
        except (TypeError, ValueError, KeyError, AttributeError, RecursionError):
            sound = False
        if sound:
            results[number] = found
        else:
            damaged.append(number)
    return results, damaged


def _digest_of(about: Mapping[str, str]) -> str:
    return fingerprint(*(f"{k}\0{v}" for k, v in sorted(about.items()) if k != DIGEST))


def _locked(folder: Path) -> FileLock:
    lock = FileLock(folder / ".sweep.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise OutputError(f"{folder}: another sweep is at work there; wait for it") from None
    except OSError as error:
        raise NotWritten(f"{folder}: cannot be written to: {error.strerror}") from None
    return lock


def _short(error: Exception) -> str:
    """What SQLite says, without what it quotes of a row."""
    return " ".join(str(error).split())[:80]


@contextmanager
def _spoken(folder: Path) -> Iterator[None]:
    """Turn a fault of the data base into one line."""
    try:
        yield
    except (sqlite3.Error, ValueError, TypeError, OverflowError) as error:
        if getattr(error, "sqlite_errorcode", None) in _NOT_TAKEN:
            raise NotWritten(f"{folder / NAME}: cannot be written: {error}") from None
        raise OutputError(
            f"{folder / NAME}: is damaged ({_short(error)}); move it away, or use another directory"
        ) from None
