"""Files that can be made again: where they are kept, written whole, deleted when there are many.

The folder is $SNAPSIM_CACHE, else the user's cache folder. A folder that can't be written is no
error: everything works without.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import IO, Final

import platformdirs

PRIVATE: Final = 0o600
SHARED: Final = 0o644
"""Who may read a file: its maker (machine code is run), or whoever shares the folder."""

DAY: Final = 86_400.0
"""Seconds."""


def kept_folder(kind: str) -> Path | None:
    """Return the folder of one kind of files, which need not exist; None where no home is known.

    $SNAPSIM_CACHE itself holds the operators, other kinds lie in folders below it.
    """
    chosen = os.environ.get("SNAPSIM_CACHE")
    if chosen:
        root = Path(os.path.expanduser(chosen))  # stays as it is where "~name" is nobody's
        return root if kind == "operators" else root / kind
    folder = Path(platformdirs.user_cache_dir("snapsim", appauthor=False)) / kind
    return folder if folder.is_absolute() else None


def write_whole(path: Path, fill: Callable[[IO[bytes]], object], mode: int = PRIVATE) -> None:
    """Let `fill` write a file under a temporary name and rename it; raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as file:
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
