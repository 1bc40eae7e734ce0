"""The way in: one line on standard error for everything that goes wrong, and the exit status.

0 done; 2 bad input; 3 the computation could not be completed; 130 interrupted.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Sequence

import typer

from snapsim.cli import (
    check,
    clip,
    fate,
    force,
    margin,
    match,
    materials,
    new,
    page,
    plot,
    poses,
    prepare,
    rank,
    release,
    sweep,
)
from snapsim.cli.output import complain
from snapsim.errors import SnapsimError

BAD_INPUT, NOT_COMPLETED, INTERRUPTED = 2, 3, 130

app = typer.Typer(
    name="snapsim",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="What a part near a strong magnet will do when it is let go: motion, blows, clips.",
    epilog="Results are no permission: strong magnets crush and shatter; local rules and"
    " qualified people decide.",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from snapsim import __version__

        typer.echo(f"snapsim {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: bool = typer.Option(
        False, "--version", callback=_print_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """Options of all commands."""


for _command in (
    new,
    check,
    materials,
    force,
    poses,
    margin,
    fate,
    plot,
    release,
    sweep,
    rank,
    clip,
    match,
    page,
    prepare,
):
    app.command()(getattr(_command, _command.__name__.rsplit(".", 1)[1]))


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit status."""
    if not debugging():
        warnings.simplefilter("ignore")
    sys.exit(run(sys.argv[1:] if arguments is None else list(arguments)))


def debugging() -> bool:
    """True where a developer wants tracebacks."""
    return bool(os.environ.get("SNAPSIM_DEBUG"))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit status; never raises but for a developer."""
    command = typer.main.get_command(app)
    try:
        status = command.main(arguments, prog_name="snapsim", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except SnapsimError as error:
        complain(str(error))
        return error.exit_status
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except Exception as error:
        return _unexpected(error)


def _unexpected(error: Exception) -> int:
    """A wrong option or argument, or a fault of our own."""
    said = getattr(error, "format_message", None)
    if said is not None:
        text = said()
        if text:
            complain(f"{text} (see snapsim --help)")
        return BAD_INPUT
    if debugging():
        raise error
    detail = str(error).split("\n", 1)[0]
    complain(
        f"unexpected fault: {type(error).__name__}: {detail};"
        " set SNAPSIM_DEBUG=1 for the traceback and report it"
    )
    return NOT_COMPLETED
