"""The errors a user can meet. Numerical trouble inside a run is an outcome, not an exception."""

from __future__ import annotations

from collections.abc import Iterable


class SnapsimError(Exception):
    """Base of every error snapsim raises on purpose; its text is one line for a person."""

    exit_status = 3


class InputError(SnapsimError):
    """Something the user wrote is wrong: `file: key: what is wrong, what is allowed`."""

    exit_status = 2

    def __init__(self, message: str, *, file: str | None = None, key: str | None = None) -> None:
        self.file, self.key, self.message = file, key, message
        super().__init__(": ".join(part for part in (file, key, message) if part))


class MissingExtra(InputError):
    """What was asked for needs a library that only an extra brings; the text says which."""


class OutputError(SnapsimError):
    """A result could not be written where the user asked for it."""

    exit_status = 2


class NotWritten(OutputError):
    """A disk or a device did not take a result that was computed; nothing is left half written."""

    exit_status = 3


class MissingSystemLibrary(SnapsimError):
    """A library outside Python is missing; the text names the package to install."""

    exit_status = 3


class ComputationError(SnapsimError):
    """A computation could not be completed; what was reached has been kept."""

    exit_status = 3


def suggest(name: str, known: Iterable[str]) -> str:
    """Return `; did you mean "x"? allowed: ...` for a name that is not among the known ones."""
    import difflib

    names = list(known)
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    return f"; {hint}allowed: {', '.join(names) or 'none'}"


def storable(text: str) -> str:
    """A text as any file can hold it: bytes of a file's name that are no UTF-8, and NUL, written
    out."""
    return text.encode("utf-8", "backslashreplace").decode().replace("\0", "\\0")


def label(name: str) -> str:
    """A name as part of a dotted key: quoted where it must be."""
    return f'"{name}"' if set(name) & set('."[]= ') else name
