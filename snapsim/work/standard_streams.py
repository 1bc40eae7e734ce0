"""`-` in place of a file's name: standard input, or standard output."""

from __future__ import annotations

from contextvars import ContextVar
from os import PathLike, fspath
from pathlib import Path
from typing import Final

STREAM: Final = "-"

OUTPUT_TAKEN: Final[ContextVar[bool]] = ContextVar("a file goes to standard output", default=False)
"""True once a command was asked to write a file there: what is said goes elsewhere then."""


def ending_of_name(path: str | PathLike[str]) -> str:
    """Return how a table or picture is written: by its name's ending, standard output as CSV."""
    return ".csv" if fspath(path) == STREAM else Path(path).suffix.lower()
