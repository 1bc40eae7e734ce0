"""`snapsim fate FILE -o DIR`: what becomes of a part over two parameters of its release."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, SceneFile, Style
from snapsim.cli.output import complain, emit, emit_json
from snapsim.errors import InputError

if TYPE_CHECKING:
    from snapsim.landscape.fate_map import FateMap
    from snapsim.study.fate_map import Slice


FateOutput = Annotated[
    str, typer.Option("-o", "--output", metavar="DIR", help="Directory of points and results.")
]
FateFirst = Annotated[
    str,
    typer.Option(
        metavar="KEY=FROM..TO",
        help='Across: body.disc.rotation.angle="0..90 deg"; "KEY=... and KEY=..." go together.',
    ),
]
FateSecond = Annotated[
    str,
    typer.Option(metavar="KEY=FROM..TO", help='Upward: body.magnet.position.z="0..50 mm".'),
]
FateOn = Annotated[
    str | None, typer.Option("--on", metavar="NAME", help="Body the part is set down on first.")
]
FateTogether = Annotated[
    bool, typer.Option("--together", help="All free bodies: whether any of them snaps.")
]
FateResolution = Annotated[
    str | None, typer.Option(help='How finely boundaries are located: "0.5 deg".')
]
FateGrid = Annotated[
    str, typer.Option(metavar="12x12", help="First grid: cells across and upward.")
]
FateDetail = Annotated[str, typer.Option(help="Cells: draft, normal or fine.")]
FateSpots = Annotated[
    int, typer.Option(min=0, max=100, help='Places of the boundary found again at "normal".')
]
FateLimit = Annotated[int, typer.Option(min=4, help="Releases at most.")]
FateWorkers = Annotated[int, typer.Option(min=1, max=256, help="Processes.")]
FateRedo = Annotated[bool, typer.Option("--redo", help="Compute all points anew.")]


def fate(
    file: SceneFile,
    output: FateOutput,
    first: FateFirst,
    second: FateSecond,
    on: FateOn = None,
    body: MovingBody = None,
    together: FateTogether = False,
    resolution: FateResolution = None,
    grid: FateGrid = "12x12",
    detail: FateDetail = "draft",
    spots: FateSpots = 5,
    limit: FateLimit = 5000,
    workers: FateWorkers = 1,
    redo: FateRedo = False,
    style: Style = "light",
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Which release poses snap and which do not: a map over two parameters; resumable."""
    from snapsim.analysis.fates import fate_summary, fate_table
    from snapsim.cli.progress import stage_progress
    from snapsim.render.plots import style_named
    from snapsim.study.fate_map import fate_map

    style_named(style)
    alone = [n for n, x in {"--body": body, "--on": on}.items() if x is not None]
    if together and alone:
        raise InputError("does not go with --together", key=alone[0])
    given = _slice(file, first, second, resolution, grid, detail, tuple(changes or ()), body, on)
    given = replace(given, together=together)
    try:
        with stage_progress() as progress:
            found = fate_map(given, output, workers, limit, spots, redo, progress)
    except KeyboardInterrupt:
        complain(f"{file}: interrupted; the releases done are kept in {output}: run again to go on")
        raise typer.Exit(130) from None
    result = fate_summary(found)
    _write(found, result, Path(output), style)
    if json:
        return emit_json("fate", result)
    emit(fate_table(result))
    emit(
        f"{len(found.fates)} releases on the map, {found.computed} computed now in"
        f" {found.wall:.0f} s;"
        f" wrote fate.json, fate.csv and fate.png to {output}"
    )
    return None


def _slice(
    file: str,
    first: str,
    second: str,
    resolution: str | None,
    grid: str,
    detail: str,
    changes: tuple[str, ...],
    body: str | None,
    on: str | None,
) -> Slice:
    from snapsim.scenario.loading import scene_text
    from snapsim.study.fate_map import Slice, resolution_of, two_spans

    one, two = two_spans(first, second, "--")
    columns, rows = _grid(grid)
    step = resolution_of(resolution, one, columns, "--resolution")
    return Slice(scene_text(file), file, one, two, step, changes, body, on, detail, columns, rows)


def _grid(text: str) -> tuple[int, int]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2 or not all(p.strip().isdigit() and 1 <= int(p) <= 200 for p in parts):
        raise InputError(
            f'"{text}" is no grid; write two numbers from 1 to 200, like 12x12', key="--grid"
        )
    return int(parts[0]), int(parts[1])


def _write(found: FateMap, result: dict[str, Any], folder: Path, style: str) -> None:
    """Write the results beside the ledger, each whole or not at all."""
    import json

    from snapsim.analysis.fates import fate_csv, fate_points
    from snapsim.analysis.json_objects import labelled
    from snapsim.render.plots import PlotOptions, fate_plot, save, style_named
    from snapsim.storage.whole_file import whole_file

    whole = {**labelled("fate", result), "points": fate_points(found)}
    with whole_file(folder / "fate.json", True) as path:
        path.write_text(json.dumps(whole, indent=1, allow_nan=False) + "\n", encoding="utf-8")
    with whole_file(folder / "fate.csv", True) as path:
        path.write_text(fate_csv(found), encoding="utf-8")
    with whole_file(folder / "fate.png", True) as path:
        save(
            path,
            fate_plot(found, f"{found.body}: what becomes of it ({found.detail} cells)"),
            PlotOptions(style_named(style)),
            ".png",
        )
