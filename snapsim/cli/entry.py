"""The way in: all commands, and one door that each of them leaves by (`faults`)."""

from __future__ import annotations

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
from snapsim.cli.faults import debugging, end_like_an_interrupt, status_of
from snapsim.cli.output import open_streams

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
    open_streams()
    end_like_an_interrupt()
    sys.exit(run(sys.argv[1:] if arguments is None else list(arguments)))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit status; never raises but for a developer."""
    command = typer.main.get_command(app)
    try:
        status = command.main(arguments, prog_name="snapsim", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except (Exception, KeyboardInterrupt) as error:
        return status_of(error, arguments)
