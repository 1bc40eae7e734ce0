"""Standard output and standard error: results on one, all else on the other."""

from __future__ import annotations

import errno
import io
import json
import os
import sys
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, TextIO

from snapsim.cli.voice import is_quiet
from snapsim.errors import NotWritten
from snapsim.work.standard_streams import OUTPUT_TAKEN

if TYPE_CHECKING:
    from rich.console import RenderableType


_SAID: ContextVar[bool] = ContextVar("an object was printed", default=False)


def emit_json(what: str, result: dict[str, Any]) -> None:
    """Print the JSON object of `what` (see `analysis.json_objects`); it holds no NaN."""
    from snapsim.analysis.json_objects import labelled

    _SAID.set(True)
    emit_schema(labelled(what, result))


def emit_error(error: dict[str, Any]) -> None:
    """Print what ended a command as a JSON object, unless its result was printed already."""
    if not _SAID.get():
        emit_json("error", error)


def emit_schema(schema: dict[str, Any]) -> None:
    """Print a JSON Schema, or any object as it is; NaN and infinity must have become None."""
    _print(json.dumps(schema, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


def emit(what: RenderableType) -> None:
    """Print a table or text for a reader, as wide as the terminal, or as $COLUMNS says."""
    if is_quiet():
        return
    from rich.console import Console
    from rich.segment import Segment, Segments
    from rich.text import Text

    from snapsim.cli.table_layout import fitted

    seen = Console()
    text = io.StringIO()
    styled = seen.is_terminal and not seen.no_color
    told = seen.is_terminal or os.environ.get("COLUMNS", "").isdigit()
    width = seen.width if told else UNTOLD_WIDTH
    console = Console(file=text, width=width, force_terminal=styled, highlight=False)
    shown = Text(what) if isinstance(what, str) else fitted(what, console)
    parts = [Segment(neutral(s.text), s.style, s.control) for s in console.render(shown)]
    console.print(Segments(parts), end="")
    if OUTPUT_TAKEN.get():
        print(text.getvalue(), end="", file=sys.stderr)
    else:
        _print(text.getvalue())


def emit_as_it_is(text: str) -> None:
    """Print text without marks, colours or breaks of its own: Markdown, for whoever reads it."""
    _print(neutral(text) + "\n")


def neutral(text: str) -> str:
    """A text whose control characters are written out: none of a file's reaches a terminal."""
    return "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)


UNTOLD_WIDTH = 110
"""Columns of what goes into a pipe, where nobody says how many there are."""

LONGEST_LINE = 2000
"""Characters of a complaint: what somebody wrote may be of any length."""


def complain(text: str) -> None:
    """Print one line on standard error."""
    line = neutral(" ".join(text.splitlines()))
    line = line if len(line) <= LONGEST_LINE else line[:LONGEST_LINE] + "..."
    if sys.stderr is None:  # Python would print on standard output instead
        return
    try:
        print(f"snapsim: {line}", file=sys.stderr, flush=True)
    except (OSError, ValueError):
        _silence(sys.stderr)


def leave_quietly() -> None:
    """Let nothing more be written to a standard output that nobody reads."""
    _silence(sys.stdout)


def _silence(stream: TextIO) -> None:
    """Send to nowhere what a stream still holds, which Python writes at its end."""
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, stream.fileno())
    except (OSError, ValueError):
        return


class _Closed(io.TextIOBase):
    """A standard output that was closed before the program began."""

    encoding = "utf-8"

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, "it is closed")


def open_streams() -> None:
    """Put something where a standard stream was closed, so that no file takes its number."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number: this one
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115
    if sys.stdout is None:
        sys.stdout = _Closed()
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115


def _print(text: str) -> None:
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except UnicodeEncodeError:
        plain = text.encode(sys.stdout.encoding, "replace").decode(sys.stdout.encoding)
        sys.stdout.write(plain)
        sys.stdout.flush()
    except BrokenPipeError:
        leave_quietly()
    except OSError as error:
        leave_quietly()
        raise NotWritten(f"standard output cannot be written: {error.strerror}") from None
