"""`snapsim release FILE -o RUN.h5`: the motion, what is struck, how fast, how hard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from snapsim.cli.options import Accuracy, AsJson, Changes, ReplaceFlag, SceneFile
from snapsim.cli.output import complain, emit, emit_json
from snapsim.work.interrupts import INTERRUPTED, asked_to_end

if TYPE_CHECKING:
    from snapsim.simulation.trajectory import Trajectory


ReleaseOutput = Annotated[
    str | None, typer.Option("-o", "--output", metavar="RUN.h5", help="Run file to write.")
]
ReleaseTwins = Annotated[
    int,
    typer.Option(
        "--twins",
        min=0,
        max=1000,
        help="Runs begun a millionth otherwise, that say which figures repeat; 0: not checked.",
    ),
]


def release(
    file: SceneFile,
    output: ReleaseOutput = None,
    force: ReplaceFlag = False,
    json: AsJson = False,
    accuracy: Accuracy = False,
    twins: ReleaseTwins = 1,
    changes: Changes = None,
) -> None:
    """Let go and follow the motion: impacts, loads, energy audit."""
    import snapsim
    from snapsim.cli.progress import release_progress
    from snapsim.storage.whole_file import require_writable

    scene = snapsim.load_scene(file, changes or ())
    if output is not None:
        require_writable(output, force)
    with release_progress(scene.duration) as progress:
        run = snapsim.release(scene, progress, accuracy, twins)
    _put_out(run, output, force, json)
    if status := _say_fault(file, run):
        raise typer.Exit(status)


def _put_out(run: Trajectory, output: str | None, force: bool, json: bool) -> None:
    """Write the run file, print the result."""
    import snapsim
    from snapsim.analysis.tables import release_table

    try:
        if output is not None:
            snapsim.write_run(run, output, force)
    finally:  # a full disk must not cost the result
        result = snapsim.summary(run)
        if json:
            emit_json("release", result)
        else:
            emit(release_table(result))
    if output is not None and not json:
        emit(f"wrote {output}; next: snapsim clip {output} -o clip.mp4")


def _say_fault(file: str, run: Trajectory) -> int:
    """Say why a run ended before its time, is not to be trusted, or was all that could be computed
    before the program was asked to end; return the exit status."""
    from snapsim.mechanics.ending import EndReason
    from snapsim.words.endings import ending_words

    why = ending_words(run.ending)
    if run.outcome == "untrusted":
        complain(f"{file}: untrusted: {why}")
        return 4
    if run.outcome == "stopped":
        complain(f"{file}: stopped at {run.time[-1]:.6g} s: {why}; the result ends there")
        return INTERRUPTED if run.reason == EndReason.INTERRUPTED else 3
    if asked_to_end():
        whole = "the run is whole, but its twins and meshes were not compared"
        complain(f"{file}: interrupted; {whole}")
        return INTERRUPTED
    return 0
