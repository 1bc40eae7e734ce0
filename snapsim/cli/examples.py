"""`snapsim examples [NAME [DIR]]`: the scenes that come with the program, and copies of one."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Annotated

import typer

from snapsim.cli.options import AsJson, ReplaceFlag
from snapsim.cli.output import emit, emit_json

if TYPE_CHECKING:
    from rich.console import RenderableType

    from snapsim.scenario.examples import Example


def _names(begun: str) -> list[str]:
    """Names that a shell may complete."""
    from snapsim.scenario import examples as there

    return [name for name in there.examples() if name.startswith(begun)]


ExampleName = Annotated[
    str, typer.Argument(metavar="[NAME]", help="Copy this one.", autocompletion=_names)
]
ExampleFolder = Annotated[
    str, typer.Argument(metavar="[DIR]", help="Where to; made where it is missing.")
]


def examples(
    name: ExampleName = "",
    folder: ExampleFolder = ".",
    force: ReplaceFlag = False,
    json: AsJson = False,
) -> None:
    """List the example scenes and what each teaches, or copy one with its study and tracks."""
    from snapsim.scenario import examples as there
    from snapsim.storage.whole_file import require_folder, require_writable, whole_file

    if not name:
        every = list(there.examples().values())
        return (
            emit_json("examples", {"examples": [_said(e) for e in every]})
            if json
            else emit(_table(every))
        )
    chosen = there.example(name)
    pairs = there.copies(chosen, folder)
    require_folder(folder).mkdir(parents=True, exist_ok=True)
    for _, target in pairs:
        require_writable(target, force)
    for source, target in pairs:
        with whole_file(target, force) as temporary:
            shutil.copyfile(source, temporary)
    written = [str(target) for _, target in pairs]
    if json:
        return emit_json("examples", {"examples": [_said(chosen)], "files": written})
    return emit(f"wrote {', '.join(written)}; next: snapsim release {written[0]} -o {name}.h5")


def _said(which: Example) -> dict[str, object]:
    return {
        "name": which.name,
        "title": which.title,
        "teaches": which.teaches,
        "files": [p.name for p in which.files],
    }


def _table(every: list[Example]) -> RenderableType:
    from rich.console import Group
    from rich.markup import escape
    from rich.table import Table
    from rich.text import Text

    table = Table("example", "what happens, and what it teaches", show_lines=True)
    for e in every:
        table.add_row(e.name, f"[bold]{escape(e.title)}[/bold]\n{escape(e.teaches)}")
    return Group(
        Text("Invented demonstrations; nothing in them was measured."),
        table,
        Text("snapsim examples NAME [DIR] copies one with its study."),
    )
