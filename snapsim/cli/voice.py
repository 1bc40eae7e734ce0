"""How much is said: `--quiet` and `--verbose`, which every command takes."""

from __future__ import annotations

import inspect
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from enum import Enum
from functools import wraps
from typing import Annotated, Any, Final

import typer

from snapsim.errors import InputError


class Voice(Enum):
    """Quiet: no table, remark or progress. Verbose: versions, stages and cost besides."""

    QUIET = "quiet"
    USUAL = "usual"
    VERBOSE = "verbose"


VOICE: Final[ContextVar[Voice]] = ContextVar("voice", default=Voice.USUAL)
"""Of the command that runs: each has a context of its own (`entry.run`)."""

Quiet = Annotated[
    bool,
    typer.Option(
        "--quiet", "-q", help="No table, remark or progress; files, JSON and complaints stay."
    ),
]
Verbose = Annotated[
    bool,
    typer.Option("--verbose", help="Versions, stages and cost too, as lines on standard error."),
]


def is_quiet() -> bool:
    """True where neither tables nor remarks are wanted."""
    return VOICE.get() is Voice.QUIET


def is_verbose() -> bool:
    """True where stages and cost are to be told."""
    return VOICE.get() is Voice.VERBOSE


def tell(text: str) -> None:
    """Print a line on standard error for who asked for more."""
    if is_verbose() and sys.stderr is not None:
        print(text, file=sys.stderr, flush=True)


def with_voice(function: Callable[..., None]) -> Callable[..., None]:
    """Return a command with `--quiet` and `--verbose` after its own options."""

    @wraps(function)
    def spoken(*, quiet: bool, verbose: bool, **options: Any) -> None:
        if quiet and verbose:
            raise InputError("goes without --verbose", key="--quiet")
        VOICE.set(Voice.QUIET if quiet else Voice.VERBOSE if verbose else Voice.USUAL)
        with _cost_told():
            function(**options)

    more = {"quiet": Quiet, "verbose": Verbose}
    own = inspect.signature(function, eval_str=True)
    added = [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=kind)
        for name, kind in more.items()
    ]
    every = [*own.parameters.values(), *added]
    spoken.__annotations__ = {p.name: p.annotation for p in every}
    vars(spoken)["__signature__"] = own.replace(parameters=every)
    return spoken


@contextmanager
def _cost_told() -> Iterator[None]:
    """Tell versions before, and time and memory after, where that is wanted."""
    if not is_verbose():
        yield
        return
    from snapsim.cli.versions import version_lines

    tell("\n".join(version_lines()))
    wall, processor = time.monotonic(), time.process_time()
    try:
        yield
    finally:
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        memory = most / (1e6 if sys.platform == "darwin" else 1e3)
        tell(
            f"took {time.monotonic() - wall:.1f} s, {time.process_time() - processor:.1f} s of"
            f" processor time, {memory:.0f} MB at most"
        )
