"""Files that can be made again: where they are kept, written whole, deleted when there are many.

The folder is $SNAPSIM_CACHE, else the user's cache folder. A folder that can't be written is no
error: everything works without. Temporary files are called `.NAME.PID.part`, or with more between
PID and "part", so that whoever writes NAME next can tell what a killed process left of it.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import IO, Final

import platformdirs

from snapsim.errors import InputError

PRIVATE: Final = 0o600
SHARED: Final = 0o644
"""Who may read a file: its maker (machine code is run), or whoever shares the folder."""

DAY: Final = 86_400.0
"""Seconds."""


def kept_folder(kind: str) -> Path | None:
    """Return the folder of one kind of files, which need not exist; None where no home is known.

    $SNAPSIM_CACHE itself holds the operators, other kinds lie in folders below it. Raises
    InputError where it names the home of nobody.
    """
    chosen = os.environ.get("SNAPSIM_CACHE")
    if chosen:
        root = Path(os.path.expanduser(chosen))
        if str(root).startswith("~"):  # would become a folder of that name, wherever one stands
            raise InputError(f'"{chosen}" is no folder: no such user', key="SNAPSIM_CACHE")
        return root if kind == "operators" else root / kind
    folder = Path(platformdirs.user_cache_dir("snapsim", appauthor=False)) / kind
    return folder if folder.is_absolute() else None


def write_whole(path: Path, fill: Callable[[IO[bytes]], object], mode: int = PRIVATE) -> None:
    """Let `fill` write a file under a temporary name and rename it; raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    remove_leftovers(path)
    begun = temporary_name(path).removesuffix("part")  # threads of this process write as well
    with tempfile.NamedTemporaryFile(
        dir=path.parent, prefix=begun, suffix=".part", delete=False
    ) as file:
        temporary = Path(file.name)
        try:
            fill(file)
            file.close()
            os.chmod(temporary, mode)
            os.replace(temporary, path)
        except BaseException:
            file.close()
            with suppress(OSError):
                temporary.unlink()
            raise


def write_sealed(path: Path, held: bytes) -> None:
    """Write a file whole, behind a checksum; raises OSError."""
    write_whole(path, lambda file: file.write(_checksum(held) + held))


def read_sealed(path: Path) -> bytes | None:
    """Return what `write_sealed` wrote; None where there is nothing, or nothing that is whole.

    The file counts as used today.
    """
    try:
        with path.open("rb") as file:
            begun, held = file.read(32), file.read()
            status = os.fstat(file.fileno())
        if status.st_mtime < time.time() - DAY:
            os.utime(path)
    except OSError:
        return None
    return held if begun == _checksum(held) else None


def _checksum(held: bytes) -> bytes:
    return hashlib.sha256(held).digest()


def temporary_name(target: Path) -> str:
    """Return what a file is called while this process writes it."""
    return f".{target.name}.{os.getpid()}.part"


def remove_leftovers(target: Path) -> None:
    """Remove what processes that are gone left of a file they were writing."""
    ours = re.compile(rf"\.{re.escape(target.name)}\.(\d{{1,9}})(\.\w+)?\.(part|old)(\.\w+)?")
    with suppress(OSError):
        for name in os.listdir(target.parent):
            left = ours.fullmatch(name)
            if left is not None and not _is_alive(int(left[1])):
                _remove(target.parent / name)


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink()


def _is_alive(process: int) -> bool:
    """Whether a process of this number is there; where that can't be asked, it is taken to be."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def make_room(
    files: Iterable[Path], total: int, days: float = float("inf"), keep: Path | None = None
) -> None:
    """Delete those not used for `days`, then those used longest ago until the rest fits in `total`
    bytes; `keep` stays."""
    known = []
    for path in files:
        with suppress(OSError):
            status = path.stat()
            known.append((status.st_mtime, status.st_size, path))
    left, oldest = sum(size for _, size, _ in known), time.time() - days * DAY
    for used, size, path in sorted(known):
        if left <= total and used >= oldest:
            return
        if path != keep:
            with suppress(OSError):
                path.unlink()
            left -= size
