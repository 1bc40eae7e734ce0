"""`snapsim page [FILE]`: a local web page to move the part, see the force, release and scrub."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from snapsim.cli.options import AsJson, Changes
from snapsim.cli.output import emit, emit_json

if TYPE_CHECKING:
    from snapsim.page.bench import Source


def page(
    file: Annotated[
        str | None,
        typer.Argument(metavar="[FILE]", help="Scene (TOML) or run (HDF5); else a starter scene."),
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 0,
    open_: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in the browser.")
    ] = True,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """A page on this machine only: move the part, see the force, release, scrub, export."""
    from snapsim.page.server import serve
    from snapsim.page.triggers import Desk

    source, run = _source(file, changes or [])
    desk = Desk(source, run)

    def ready(address: str) -> None:
        if json:
            emit_json({"address": address})
        else:
            emit(f"open {address}\nonly this machine can; end with Ctrl-C")
        if open_:
            import webbrowser

            webbrowser.open(address)

    try:
        serve(desk, port, ready)
    finally:
        desk.close()


def _source(file: str | None, changes: list[str]) -> tuple[Source, str | None]:
    """The scene to show, and the run file that is already there."""
    from snapsim.page.bench import Source
    from snapsim.scenario.loading import scene_text
    from snapsim.scenario.starter import STARTER

    if file is None:
        return Source(STARTER, "starter scene", tuple(changes)), None
    if file.lower().endswith((".h5", ".hdf5")):
        import snapsim

        system = snapsim.read_run(file).system
        return Source(system.resolved, system.file, tuple(changes)), file
    return Source(scene_text(file), file, tuple(changes)), None
