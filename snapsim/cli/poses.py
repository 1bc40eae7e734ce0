"""`snapsim poses FILE --body NAME`: where a part can rest, and which way it leaves."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, SceneFile
from snapsim.cli.output import complain, emit, emit_json
from snapsim.errors import InputError
from snapsim.work.interrupts import INTERRUPTED

if TYPE_CHECKING:
    from rich.console import RenderableType

    from snapsim.simulation.system import System


PosesTogether = Annotated[
    bool, typer.Option("--together", help="All free bodies at once: how they rest together.")
]
PosesStarts = Annotated[
    int | None,
    typer.Option(
        "--starts", min=1, help="Starts spread over places and turns: 48, 12 with --together."
    ),
]
PosesSeed = Annotated[int, typer.Option("--seed", min=0, help="Seed of the spread starts.")]


def poses(
    file: SceneFile,
    body: MovingBody = None,
    together: PosesTogether = False,
    starts: PosesStarts = None,
    seed: PosesSeed = 1,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Resting poses: stable or not, which way they leave, how firmly they hold."""
    import snapsim

    if together and body is not None:
        raise InputError("asks of one body, --together of all", key="--body")
    scene = snapsim.load_scene(file, changes or ())
    if together:
        what, (result, table, interrupted) = "poses-together", _of_all(scene, starts or 12, seed)
    else:
        what, (result, table, interrupted) = "poses", _of_one(scene, body, starts or 48, seed)
    if json:
        emit_json(what, result)
    else:
        emit(table(result))
    if interrupted:
        complain(f"{file}: interrupted; what was found until then stands above")
        raise typer.Exit(INTERRUPTED)


PosesFound = tuple[dict[str, Any], Callable[[dict[str, Any]], "RenderableType"], bool]
"""The result, what makes a table of it, and whether the search was interrupted."""


def _of_one(scene: System, body: str | None, starts: int, seed: int) -> PosesFound:
    import snapsim
    from snapsim.analysis.rests import rests_summary, rests_table
    from snapsim.cli.progress import stage_progress

    with stage_progress() as progress:
        found = snapsim.poses(scene, body, starts, seed, progress)
    return rests_summary(found), rests_table, found.interrupted


def _of_all(scene: System, starts: int, seed: int) -> PosesFound:
    import snapsim
    from snapsim.analysis.rests import together_summary, together_table
    from snapsim.cli.progress import stage_progress

    with stage_progress() as progress:
        found = snapsim.poses_together(scene, starts, seed, progress)
    return together_summary(found), together_table, found.interrupted
