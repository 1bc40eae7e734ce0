"""`snapsim page [FILE]`: a local web page to move the part, see the force, release and scrub."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from snapsim.cli.options import AsJson, Changes, ReplaceFlag
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError
from snapsim.extras import require_extra

if TYPE_CHECKING:
    from snapsim.page.bench import Source


PageFile = Annotated[
    str | None,
    typer.Argument(metavar="[FILE]", help="Scene (TOML) or run (HDF5); else a starter scene."),
]
PagePort = Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")]
PageOpen = Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")]
PageOutput = Annotated[
    str | None,
    typer.Option("-o", "--output", metavar="RUN.html", help="Write a run as one HTML file."),
]


def page(
    file: PageFile = None,
    port: PagePort = 0,
    open_: PageOpen = True,
    output: PageOutput = None,
    force: ReplaceFlag = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """A page on this machine only: move the part, see the force, release, scrub, export."""
    require_extra("page", "the page")
    if output is not None:
        return _one_run(file, output, force, json)
    from snapsim.guide import CHAPTERS, chapter
    from snapsim.page.guide_pages import Guide
    from snapsim.page.server import serve
    from snapsim.page.triggers import Desk

    source, run = _source(file, changes or [])
    desk = Desk(source, run)
    try:
        book = Guide(CHAPTERS, chapter)
        serve(desk, port, lambda address: _ready(address, open_, json), book)
    finally:
        desk.close()


def _ready(address: str, open_: bool, json: bool) -> None:
    """Say where the page is, and open it in the browser."""
    if json:
        emit_json("page", {"address": address})
    else:
        emit(f"open {address}\nonly this machine can; end with Ctrl-C")
    if open_:
        import webbrowser

        webbrowser.open(address)


def _one_run(file: str | None, output: str, force: bool, json: bool) -> None:
    """Write a run as a file that opens from disk."""
    if file is None or not _is_run(file):
        raise InputError("goes with a run file, like run.h5 -o run.html", key="--output")
    from snapsim.storage.whole_file import require_writable

    if not output.lower().endswith((".html", ".htm")):
        raise InputError(f'"{output}" must end in .html', key="--output")
    require_writable(output, force)
    import snapsim
    from snapsim.page.one_run import write_one_run

    write_one_run(snapsim.read_run(file), output, force)
    return (
        emit_json("page", {"file": output})
        if json
        else emit(f"wrote {output}; it needs no network")
    )


def _is_run(file: str) -> bool:
    return file.lower().endswith((".h5", ".hdf5"))


def _source(file: str | None, changes: list[str]) -> tuple[Source, str | None]:
    """The scene to show, and the run file that is already there."""
    from snapsim.page.bench import Source
    from snapsim.scenario.loading import scene_text
    from snapsim.scenario.starter import STARTER

    if file is None:
        return Source(STARTER, "starter scene", tuple(changes), starter=True), None
    if _is_run(file):
        import snapsim

        system = snapsim.read_run(file).system
        return Source(system.resolved, system.file, tuple(changes)), file
    return Source(scene_text(file), file, tuple(changes)), None
