"""Files that appear whole or not at all: written beside the target, renamed when complete."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from os import PathLike, fspath
from pathlib import Path
from tempfile import TemporaryDirectory

from snapsim.errors import NotWritten, OutputError
from snapsim.numerics.kept_files import remove_leftovers, temporary_name
from snapsim.work.standard_streams import OUTPUT_TAKEN, STREAM


def require_writable(path: str | PathLike[str], force: bool) -> Path:
    """Return the target as a path; raises OutputError if it cannot be written, before any work.

    "-" is standard output, which is taken by it from then on.
    """
    target = Path(path)
    if fspath(path) == STREAM:
        OUTPUT_TAKEN.set(True)
        return target
    shown = fspath(path).replace("\0", "\\0")
    try:
        for problem in _in_the_way(target, force):
            raise OutputError(f"{shown}: {problem}")
        os.lstat(target.parent / temporary_name(target))
    except FileNotFoundError:
        return target
    except OSError as error:  # a name too long, loops of links
        raise OutputError(f"{shown}: is no file's name: {error.strerror}") from None
    except ValueError:
        raise OutputError(f"{shown}: is no file's name") from None
    return target


def _in_the_way(target: Path, force: bool) -> Iterator[str]:
    """What keeps a file from being written there."""
    if target.is_dir():
        yield "is a directory; name a file"
    if os.path.lexists(target) and not force:
        yield "exists already; use --force to replace it, or another name"
    if target.exists() and not target.is_file():
        yield "is a device or a pipe; name a file"
    if not target.parent.is_dir():
        yield f"the directory {target.parent} does not exist; create it first"
    if not os.access(target.parent, os.W_OK | os.X_OK):
        yield f"the directory {target.parent} cannot be written to"


def require_folder(path: str | PathLike[str]) -> Path:
    """Return a folder for results as a path, which need not exist yet; raises OutputError if it
    cannot be made or written to, before any work."""
    folder = Path(path)
    shown = fspath(path).replace("\0", "\\0")
    try:
        os.lstat(folder / temporary_name(folder))
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "it holds a NUL"
        raise OutputError(f"{shown}: is no folder's name: {why}") from None
    standing = next(p for p in (folder, *folder.absolute().parents) if os.path.lexists(p))
    if not os.access(standing, os.W_OK | os.X_OK):
        raise OutputError(f"{shown}: the directory {standing} cannot be written to")
    return folder


@contextmanager
def whole_file(path: str | PathLike[str], force: bool) -> Iterator[Path]:
    """Yield a temporary path beside `path`; on success it takes its place, else it is removed.

    Also removed is what a process that is gone left of this file. For "-" the whole goes to
    standard output. Raises OutputError; NotWritten for a full disk while the block runs.
    """
    target = require_writable(path, force)
    if fspath(path) == STREAM:
        with TemporaryDirectory() as folder:
            yield Path(folder) / "whole"
            _pour(Path(folder) / "whole")
        return
    remove_leftovers(target)
    temporary = target.with_name(temporary_name(target))
    try:
        yield temporary
        _flush(temporary)
        os.replace(temporary, target)
    except OSError as error:
        reason = error.strerror or str(error).splitlines()[0]
        raise NotWritten(f"{fspath(path)}: cannot be written: {reason}") from None
    finally:
        temporary.unlink(missing_ok=True)


def _pour(path: Path) -> None:
    """Copy a file to standard output; raises NotWritten."""
    try:
        sys.stdout.flush()
        with open(path, "rb") as file:
            shutil.copyfileobj(file, sys.stdout.buffer)
        sys.stdout.buffer.flush()
    except OSError as error:
        reason = error.strerror or str(error).splitlines()[0]
        raise NotWritten(f"standard output cannot be written: {reason}") from None


def _flush(path: Path) -> None:
    """Bring the file's bytes to the disk before it gets its name."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
