"""`snapsim poses FILE --body NAME`: where a part can rest, and which way it leaves."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, SceneFile
from snapsim.cli.output import complain, emit, emit_json


def poses(
    file: SceneFile,
    body: MovingBody = None,
    starts: Annotated[
        int, typer.Option("--starts", min=1, help="Starts spread over places and turns.")
    ] = 48,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the spread starts.")] = 1,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Resting poses: stable or not, which way they leave, how firmly they hold."""
    import snapsim
    from snapsim.analysis.rests import rests_summary, rests_table
    from snapsim.cli.progress import stage_progress

    scene = snapsim.load_scene(file, changes or ())
    with stage_progress() as progress:
        report = snapsim.poses(scene, body, starts, seed, progress)
    result = rests_summary(report)
    if json:
        emit_json("poses", result)
    else:
        emit(rests_table(result))
    if report.interrupted:
        complain(f"{file}: interrupted; what was found until then stands above")
        raise typer.Exit(130)
