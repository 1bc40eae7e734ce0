"""`snapsim poses FILE --body NAME`: where a part can rest, and which way it leaves."""

from __future__ import annotations

from typing import Annotated

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, SceneFile
from snapsim.cli.output import complain, emit, emit_json
from snapsim.errors import InputError


def poses(
    file: SceneFile,
    body: MovingBody = None,
    together: Annotated[
        bool, typer.Option("--together", help="All free bodies at once: how they rest together.")
    ] = False,
    starts: Annotated[
        int | None,
        typer.Option(
            "--starts", min=1, help="Starts spread over places and turns: 48, 12 with --together."
        ),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the spread starts.")] = 1,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Resting poses: stable or not, which way they leave, how firmly they hold."""
    import snapsim
    from snapsim.analysis.rests import (
        rests_summary,
        rests_table,
        together_summary,
        together_table,
    )
    from snapsim.cli.progress import stage_progress

    scene = snapsim.load_scene(file, changes or ())
    with stage_progress() as progress:
        if together:
            if body is not None:
                raise InputError("asks of one body, --together of all", key="--body")
            found = snapsim.poses_together(scene, starts or 12, seed, progress)
            what, result, table = "poses-together", together_summary(found), together_table
            interrupted = found.interrupted
        else:
            report = snapsim.poses(scene, body, starts or 48, seed, progress)
            what, result, table = "poses", rests_summary(report), rests_table
            interrupted = report.interrupted
    if json:
        emit_json(what, result)
    else:
        emit(table(result))
    if interrupted:
        complain(f"{file}: interrupted; what was found until then stands above")
        raise typer.Exit(130)
