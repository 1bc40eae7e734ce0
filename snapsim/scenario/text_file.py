"""Texts that people write, read within bounds: scenes, studies, matches, shots, tracks.

A file is read only up to a bound, so that a device or a wrong file costs neither time nor memory.
TOML is taken with what its standard asks of every reader (v1.0.0: integers of 64 bits) and no
deeper than any table here goes.
"""

from __future__ import annotations

import os
import select
import stat
import tomllib
from collections.abc import Iterator
from typing import Any, BinaryIO, Final

from snapsim.errors import InputError, label
from snapsim.work.standard_streams import STREAM

MOST_BYTES: Final = 32 * 2**20
"""Size of a text [bytes]: a scene with a whole mesh in it has a tenth of that."""

DEEPEST: Final = 32
"""Tables and lists within one another; a scene has eight."""

PATIENCE: Final = 5.0
"""Seconds that a pipe may stay silent."""

_LARGEST: Final = 2**63


class NotToml(InputError):
    """A text is not TOML at all."""


def read_text(path: str, kind: str = "a scene is TOML in UTF-8", most: int = MOST_BYTES) -> str:
    """Return the text of a file, of standard input for "-"; raises InputError.

    `kind` says what it should have been.
    """
    try:
        with open(path, "rb", opener=_opened_at_once) as file:
            if path != STREAM:  # whoever types has time
                _await_first_byte(file, path)
            content = file.read(most + 1)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from None
    except ValueError:
        raise InputError("is no file's name", file=shown_name(path)) from None
    if len(content) > most:
        raise InputError(f"is larger than {most / 2**20:g} MiB; {kind}", file=path)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"is no text file; {kind}", file=path) from None


def _opened_at_once(path: str, flags: int) -> int:
    """Open a file; a pipe (FIFO) too, whether or not somebody writes to it yet."""
    if path == STREAM:
        return os.dup(0)
    handle = os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
    if hasattr(os, "set_blocking"):
        os.set_blocking(handle, True)
    return handle


def _await_first_byte(file: BinaryIO, path: str) -> None:
    """Give whoever writes to a pipe `PATIENCE`; raise InputError where nothing comes."""
    if not stat.S_ISFIFO(os.fstat(file.fileno()).st_mode):
        return
    if not select.select([file], [], [], PATIENCE)[0]:
        raise InputError(f"is a pipe that nobody wrote to for {PATIENCE:g} s", file=path)


def shown_name(path: str) -> str:
    """A file's name as an error shows it."""
    return path.replace("\0", "\\0")


def read_toml(path: str, kind: str = "a scene is TOML in UTF-8") -> dict[str, Any]:
    """Return a TOML file as a document; raises InputError."""
    return toml_document(read_text(path, kind), path)


def toml_document(text: str, file: str) -> dict[str, Any]:
    """Return TOML text as a document; `file` names it in errors. Raises InputError."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise NotToml(f"is no valid TOML: {error}", file=file) from None
    except ValueError:  # Python refuses to turn thousands of digits into a number
        raise InputError("has an integer of more than 64 bits", file=file) from None
    except RecursionError:
        raise InputError(_too_deep(), file=file) from None
    for key, depth, value in _walk(document):
        if depth > DEEPEST:
            raise InputError(_too_deep(), file=file)
        if isinstance(value, int) and not -_LARGEST <= value < _LARGEST:
            raise InputError("is an integer of more than 64 bits", file=file, key=key)
    return document


def _too_deep() -> str:
    return f"has tables within tables more than {DEEPEST} deep"


def _walk(document: dict[str, Any]) -> Iterator[tuple[str, int, Any]]:
    """Every value with its dotted key and depth, without recursion."""
    waiting: list[tuple[str, int, Any]] = [("", 0, document)]
    while waiting:
        key, depth, value = waiting.pop()
        yield key, depth, value
        if depth > DEEPEST:
            continue
        if isinstance(value, dict):
            waiting += [(f"{key}.{label(k)}".lstrip("."), depth + 1, v) for k, v in value.items()]
        elif isinstance(value, list):
            waiting += [(f"{key}[{n}]", depth + 1, v) for n, v in enumerate(value, 1)]
