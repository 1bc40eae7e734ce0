"""`snapsim check FILE`: reads a scene and says what it is made of, or what is wrong."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson, Changes
from snapsim.cli.output import emit, emit_json, emit_schema
from snapsim.errors import InputError


def check(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Scene file (TOML).")] = "",
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON Schema of scene files; no FILE.")
    ] = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Read a scene; report masses, inertia, cells, overlaps."""
    if schema:
        from snapsim.scenario.schema import scene_schema

        return emit_schema(scene_schema())
    if not file:
        raise InputError("name a scene file, or ask for --schema", key="FILE")
    from snapsim.scenario.loading import load_scene

    system = load_scene(file, changes or ())
    from snapsim.analysis.inventory import inventory, inventory_table
    from snapsim.scenario.advice import advice

    result = inventory(system, advice(system))
    return emit_json("check", result) if json else emit(inventory_table(result))
