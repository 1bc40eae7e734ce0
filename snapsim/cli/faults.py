"""Whatever ends a command becomes one line on standard error and an exit status, here alone.

0 done; 2 bad input; 3 the computation or its output could not be completed; 130 interrupted, by
Ctrl-C or by a request to end (SIGTERM), whatever exception came of it. Rooms below raise
`SnapsimError` with file and key where they know these; what nobody foresaw still names the file
that the command was given.
"""

from __future__ import annotations

import errno
import os

import typer

from snapsim.cli.output import complain, emit_error, leave_quietly
from snapsim.errors import NotWritten, OutputError, SnapsimError
from snapsim.extras import missing_of
from snapsim.work.interrupts import INTERRUPTED, asked_to_end, caused_by_request

BAD_INPUT, NOT_COMPLETED = 2, 3


def debugging() -> bool:
    """True where a developer wants tracebacks."""
    return bool(os.environ.get("SNAPSIM_DEBUG"))


def status_of(error: BaseException, arguments: list[str]) -> int:
    """Say on one line what ended a command; return its exit status. Developers get it raised."""
    if caused_by_request(error) or isinstance(error, typer.Abort):
        return INTERRUPTED
    if asked_to_end() and not _unwritten(error):  # an import that broke off, say
        return INTERRUPTED
    if isinstance(error, ImportError):
        error = missing_of(error) or error
    if isinstance(error, SnapsimError):
        return _told(error, str(error), error.exit_status, arguments)
    asked_wrongly = getattr(error, "format_message", None)  # typer's click, wherever that lies
    if asked_wrongly is not None:
        if said := asked_wrongly():
            return _told(error, f"{said} (see snapsim --help)", BAD_INPUT, arguments)
        return BAD_INPUT
    if debugging():
        raise error
    return _told(error, _unforeseen(error, arguments), NOT_COMPLETED, arguments)


def _told(error: BaseException, line: str, status: int, arguments: list[str]) -> int:
    """Complain in a line; under --json also as an object on standard output, where it is open."""
    complain(line)
    if "--json" in arguments and not isinstance(error, NotWritten | OSError):
        known = isinstance(error, SnapsimError)
        emit_error(
            {
                "error_code": type(error).__name__ if known else _OTHER[status],
                "file": getattr(error, "file", None),
                "key": getattr(error, "key", None),
                "message": line,
                "exit_status": status,
            }
        )
    return status


_OTHER = {BAD_INPUT: "UsageError", NOT_COMPLETED: "UnforeseenFault"}
"""What errors are called that are none of ours."""


def _unwritten(error: BaseException) -> bool:
    """Was there no room for the output? A pipe of processes that are being ended says nothing."""
    cause = getattr(error.__context__, "errno", None)
    return isinstance(error, OutputError) and cause != errno.EBADF


def _unforeseen(error: BaseException, arguments: list[str]) -> str:
    """What happened to which file; a fault of the program's own says how to see more of it."""
    file = _file_among(arguments)
    match error:
        case OSError(errno=number) if number is not None:
            if number in (errno.ENOSPC, errno.EBADF, errno.EIO) and error.filename is None:
                leave_quietly()
                return f"standard output cannot be written: {error.strerror}"
            return f"{error.filename or file}: {error.strerror}"
        case MemoryError():
            return (
                f"{file}: needs more memory than there is; fewer bodies or coarser cells need less"
            )
    detail = str(error).split("\n", 1)[0]
    return (
        f"{file}: unexpected fault: {type(error).__name__}: {detail};"
        " set SNAPSIM_DEBUG=1 for the traceback and report it"
    )


def _file_among(arguments: list[str]) -> str:
    """The file that a command was given first, else the command."""
    given = [a for a in arguments if not a.startswith("-")]
    return (given[1:2] or given[:1] or ["snapsim"])[0]
