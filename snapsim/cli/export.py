"""`snapsim export INPUT -o FILE`: a run or a scene for other tools."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson, Changes, ReplaceFlag
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError

ExportSource = Annotated[str, typer.Argument(metavar="INPUT", help="Run (HDF5) or scene (TOML).")]
ExportTarget = Annotated[
    str,
    typer.Option(
        "-o",
        "--output",
        metavar="FILE",
        help="A run: .csv, .parquet, .glb, .usdc, .usda (moving), .pvd. A scene: .glb, .usdc,"
        " .usda, .stl.",
    ),
]
ExportRows = Annotated[str, typer.Option(help="Rows of a table: frames, impacts or loads.")]
ExportBody = Annotated[
    str | None, typer.Option("--body", metavar="NAME", help="Whose surface an .stl is.")
]


def export(
    source: ExportSource,
    output: ExportTarget,
    rows: ExportRows = "frames",
    body: ExportBody = None,
    force: ReplaceFlag = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Write a run as tables or a moving scene, a scene as surfaces, for other tools to read."""
    import snapsim
    from snapsim.exchange.files import export as write

    if source.lower().endswith((".h5", ".hdf5")):
        if changes:
            raise InputError("a run is what it is; --set goes with a scene", key="--set")
        write(snapsim.read_run(source), output, rows, body, force)
    else:
        write(snapsim.load_scene(source, changes or ()), output, rows, body, force)
    if json:
        return emit_json("export", {"file": output, "source": source})
    return emit(f"wrote {output}")
