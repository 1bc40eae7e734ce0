"""What a run file is checked for before a number of it is used.

The first 512 bytes of a run file are an HDF5 user block (HDF5 File Format Specification v3.0,
section II: a superblock may begin at byte 512), which holds the SHA-256 of all that follows and the
size of the file. A hash says that a file is as it was written, not that whoever wrote it meant
well: links, data outside the file and sizes that the file cannot hold are refused as well.
"""

from __future__ import annotations

import hashlib
import os
import re
from typing import BinaryIO, Final

import h5py

from snapsim.errors import InputError

BLOCK: Final = 512
"""Bytes in front of the HDF5 part."""

_SEAL: Final = re.compile(rb"snapsim run\nsha256 ([0-9a-f]{64})\nbytes ([0-9]{1,15})\n\0*")

_PIECE: Final = 1 << 20

_UNPACKED: Final = 1100
"""Numbers' bytes a stored byte: zlib packs at most 1032 times (RFC 1951, longest match 258)."""

_FREE: Final = 1 << 16
"""Bytes a dataset may declare whatever it stores."""

CUT_SHORT: Final = "is cut short: the file is no longer whole; run release again"
CHANGED: Final = "is damaged, or was changed: it does not match its hash; run release again"


def seal(content: memoryview) -> None:
    """Write the hash of what follows the user block into it."""
    digest = hashlib.sha256(content[BLOCK:]).hexdigest()
    text = f"snapsim run\nsha256 {digest}\nbytes {len(content)}\n".encode()
    content[: len(text)] = text


def check_seal(path: str) -> None:
    """Raise InputError where a file has a hash and does not match it; OSError as `open`.

    A file of an earlier version has none.
    """
    with open(path, "rb") as file:
        found = _SEAL.fullmatch(file.read(BLOCK))
        if found is None:
            return
        if os.fstat(file.fileno()).st_size < int(found[2]):
            raise InputError(CUT_SHORT, file=path)
        if _hash(file) != found[1].decode():
            raise InputError(CHANGED, file=path)


def check_structure(file: h5py.File, path: str) -> None:
    """Raise InputError for links, data kept outside the file, and sizes that it cannot hold."""
    waiting = [file["/"]]
    while waiting:
        group = waiting.pop()
        for name in group:
            if not isinstance(group.get(name, getlink=True), h5py.HardLink):
                raise InputError("is no run file: it links to data elsewhere", file=path)
            item = group[name]
            if isinstance(item, h5py.Group):
                waiting.append(item)
            elif isinstance(item, h5py.Dataset):
                _check_dataset(item, path)


def _check_dataset(data: h5py.Dataset, path: str) -> None:
    if data.is_virtual or data.external:
        raise InputError("is no run file: it holds data kept in other files", file=path)
    stored: int = data.id.get_storage_size()
    if data.nbytes > _FREE + _UNPACKED * stored:
        raise InputError(f"is damaged: {data.name} is larger than the file can hold", file=path)


def _hash(file: BinaryIO) -> str:
    digest = hashlib.sha256()
    while piece := file.read(_PIECE):
        digest.update(piece)
    return digest.hexdigest()
