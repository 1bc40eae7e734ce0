"""Files that appear whole or not at all, and the refusals before any work is done."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

from snapsim.errors import OutputError
from snapsim.numerics.kept_files import temporary_name


def check_target(path: Path, suffix: str, overwrite: bool) -> None:
    """Raise OutputError where a file `path` cannot or must not be written; `suffix` "" is a folder
    of pictures."""
    if path.suffix.lower() != suffix:
        raise OutputError(f"{path}: the name must end in {suffix}")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: folder {path.parent} does not exist")
    if path.is_dir() and suffix:
        raise OutputError(f"{path}: is a folder")
    if path.exists() and not overwrite:
        raise OutputError(f"{path}: exists already; use --force to replace it")
    if path.exists() and not suffix and not is_our_folder(path):
        raise OutputError(f"{path}: holds other things than numbered pictures; name a new folder")
    if not os.access(path.parent, os.W_OK):
        raise OutputError(f"{path}: folder {path.parent} is not writable")


def is_our_folder(path: Path) -> bool:
    """Is this a folder of nothing but numbered pictures?"""
    return path.is_dir() and all(
        re.fullmatch(r"([a-z0-9.-]+\.)?\d{6}\.png", f.name) for f in path.iterdir()
    )


def temporary_beside(path: Path) -> Path:
    """Return a name in the same folder that no other run uses."""
    return path.with_name(f"{temporary_name(path)}{path.suffix}")


def put(part: Path, target: Path) -> None:
    """Let a finished file or folder take the target's place."""
    if target.is_dir():
        old = target.with_name(f".{target.name}.{os.getpid()}.old")
        target.rename(old)
        part.rename(target)
        shutil.rmtree(old)
    else:
        os.replace(part, target)


def is_whole(path: Path) -> bool:
    """Return whether an MP4's boxes fill the file and its index stands before its frames.

    A box is a 32-bit big-endian length, a name of four letters, content (ISO/IEC 14496-12:2022,
    4.2; from memory).
    """
    names, at = [], 0
    size = path.stat().st_size if path.exists() else 0
    with path.open("rb") if size else open(os.devnull, "rb") as file:
        while at + 8 <= size:
            file.seek(at)
            head = file.read(16)
            length = int.from_bytes(head[:4], "big")
            if length == 1:  # the true length follows in 64 bits
                length = int.from_bytes(head[8:16], "big")
            names.append(head[4:8])
            at += max(length, 8)
    ordered = [name for name in names if name in (b"moov", b"mdat")]
    return at == size and ordered == [b"moov", b"mdat"]
