"""`snapsim new FILE`: writes a commented starter scene."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson, ReplaceFlag
from snapsim.cli.output import emit, emit_json, neutral


def new(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Scene file to write (TOML).")],
    short: Annotated[
        bool, typer.Option("--short", help="The scene alone, without what else could be written.")
    ] = False,
    force: ReplaceFlag = False,
    json: AsJson = False,
) -> None:
    """Write a commented starter scene that runs as it is."""
    from snapsim.scenario.starter import starter
    from snapsim.storage.whole_file import whole_file

    with whole_file(file, force) as temporary:
        named = neutral(file).replace("\n", " ")
        temporary.write_text(starter(named, short), encoding="utf-8")
    if json:
        emit_json("new", {"file": file})
    else:
        emit(f"wrote {file}; next: snapsim check {file}")
