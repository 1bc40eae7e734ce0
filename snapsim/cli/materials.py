"""`snapsim materials [NAME]`: the built-in materials, their values and sources."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError, suggest


def materials(
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="One material in full.")] = "",
    json: AsJson = False,
) -> None:
    """List materials with values and sources."""
    from snapsim.analysis import material_sheets as sheets
    from snapsim.parts.materials import MATERIALS

    if not name:
        table = list(MATERIALS.values())
        if json:
            return emit_json(
                "materials", {"materials": [sheets.material_summary(m) for m in table]}
            )
        return emit(sheets.materials_table(table))
    if name not in MATERIALS:
        raise InputError(f'"{name}" is not known{suggest(name, MATERIALS)}', key="NAME")
    material = MATERIALS[name]
    return (
        emit_json("material", sheets.material_summary(material))
        if json
        else emit(sheets.material_sheet(material))
    )
