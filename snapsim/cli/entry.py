"""The way in: all commands, and one door that each of them leaves by (`faults`)."""

from __future__ import annotations

import logging
import warnings
from contextvars import copy_context
from functools import cache
from itertools import pairwise
from typing import Any

import typer

from snapsim.cli import (
    calibrate,
    check,
    clip,
    examples,
    export,
    fate,
    force,
    guide,
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
from snapsim.cli.faults import debugging, status_of
from snapsim.cli.output import open_streams
from snapsim.cli.usage import epilog
from snapsim.cli.voice import with_voice
from snapsim.errors import InputError
from snapsim.work.interrupts import INTERRUPTED, asked_to_end
from snapsim.work.standard_streams import STREAM

app = typer.Typer(
    name="snapsim",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
    help="What a part near a strong magnet will do when it is let go: motion, blows, clips.",
    epilog="Results are no permission: strong magnets crush and shatter; local rules and"
    " qualified people decide.",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from snapsim.cli.versions import version_lines

        typer.echo("\n".join(version_lines()))
        raise typer.Exit


def _print_licences(wanted: bool) -> None:
    if wanted:
        from importlib.resources import files

        typer.echo(files("snapsim").joinpath("licences.txt").read_text(encoding="utf-8"), nl=False)
        raise typer.Exit


@app.callback()
def _options(
    version: bool = typer.Option(
        False,
        "--version",
        callback=_print_version,
        is_eager=True,
        help="Print the versions of what matters.",
    ),
    licences: bool = typer.Option(
        False,
        "--licences",
        callback=_print_licences,
        is_eager=True,
        help="Print the licences of what comes with it.",
    ),
) -> None:
    """Options of all commands."""


for _command in (
    new,
    examples,
    guide,
    check,
    materials,
    calibrate,
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
    export,
    page,
    prepare,
):
    _name = _command.__name__.rsplit(".", 1)[1]
    app.command(epilog=epilog(_name))(with_voice(getattr(_command, _name)))


def command(arguments: list[str]) -> int:
    """Run one command as a process of its own and return its exit status.

    Where a request to end came, that is not 0, however much of the result was kept.
    """
    if not debugging():
        warnings.simplefilter("ignore")
        logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells of folders it lacks
    open_streams()
    status = run(arguments)
    return INTERRUPTED if status == 0 and asked_to_end() else status


@cache
def _commands() -> Any:
    """All commands with their options, read off their signatures once: a tenth of a second."""
    return typer.main.get_command(app)


def _refuse_two_on_one(arguments: list[str]) -> None:
    """Raise InputError where an object and a file are both to go to standard output."""
    written = [b for a, b in pairwise(arguments) if a in ("-o", "--output", "new")]
    if "--json" in arguments and STREAM in written:
        raise InputError("goes without --json: one thing on standard output", key=STREAM)


def run(arguments: list[str]) -> int:
    """Run one command and return its exit status; never raises but for a developer."""
    return copy_context().run(_run, arguments)


def _run(arguments: list[str]) -> int:
    try:
        _refuse_two_on_one(arguments)
        status = _commands().main(arguments, prog_name="snapsim", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except (Exception, KeyboardInterrupt) as error:
        return status_of(error, arguments)
