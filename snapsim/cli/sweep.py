"""`snapsim sweep STUDY.toml -o DIR`: many releases, resumable."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from snapsim.cli.options import AsJson
from snapsim.cli.output import complain, emit, emit_json, emit_schema
from snapsim.errors import InputError
from snapsim.work.interrupts import INTERRUPTED

if TYPE_CHECKING:
    from snapsim.study.sweep import Standing, SweepOptions


SweepStudy = Annotated[str, typer.Argument(metavar="STUDY.toml", help="Study file (TOML).")]
SweepOutput = Annotated[
    str, typer.Option("-o", "--output", metavar="DIR", help="Directory of the sweep.")
]
SweepWorkers = Annotated[
    int | None, typer.Option(min=1, help="Processes; one a core if not given.")
]
SweepCluster = Annotated[
    str,
    typer.Option(metavar="ADDRESS", help="Scheduler of a Dask cluster, instead of processes."),
]
SweepKeep = Annotated[
    str, typer.Option(help="Run files to keep: none, thin (few frames, no cells) or all.")
]
SweepRedo = Annotated[
    bool, typer.Option("--redo", help="Compute all anew, also where scene or program changed.")
]
SweepSamples = Annotated[
    int | None, typer.Option(min=2, help="Samples a replicate, in place of the study's.")
]
SweepSchema = Annotated[
    bool, typer.Option("--schema", help="Print the JSON Schema of study files; no STUDY.")
]


def sweep(
    study: SweepStudy = "",
    output: SweepOutput = "",
    workers: SweepWorkers = None,
    cluster: SweepCluster = "",
    keep: SweepKeep = "none",
    redo: SweepRedo = False,
    samples: SweepSamples = None,
    schema: SweepSchema = False,
    json: AsJson = False,
) -> None:
    """Compute the runs of a study; started again, it goes on where it stopped."""
    if schema:
        from snapsim.study.study_file import study_schema

        return emit_schema(study_schema())
    if not study or not output:
        raise InputError("name a study file and -o DIR, or ask for --schema", key="STUDY")
    from snapsim.study.sweep import SweepOptions

    if cluster and workers is not None:
        raise InputError("goes without --workers: a cluster has its own", key="--cluster")
    given = SweepOptions(workers or os.cpu_count() or 1, _keep(keep), redo)
    try:
        standing = _swept(study, samples, output, given, cluster)
    except KeyboardInterrupt:
        complain(f"{output}: interrupted; what was done is kept, start the same again to go on")
        raise typer.Exit(INTERRUPTED) from None
    result = _summary(standing, output)
    return emit_json("sweep", result) if json else emit(_table(result))


def _swept(
    study: str, samples: int | None, output: str, given: SweepOptions, cluster: str
) -> Standing:
    """Compute what is missing of a study, here or on a cluster."""
    from snapsim.cli.progress import sweep_progress
    from snapsim.study.cases import with_samples
    from snapsim.study.study_file import load_study
    from snapsim.study.sweep import sweep as run

    wanted = with_samples(load_study(study), samples)
    with _executor(cluster) as executor, sweep_progress() as progress:
        return run(wanted, study, output, replace(given, executor=executor), progress)


def _executor(address: str) -> AbstractContextManager[Callable[[], Executor] | None]:
    """Connect to the cluster, where one is named."""
    if not address:
        return nullcontext()
    from snapsim.study.cluster import cluster

    return cluster(address)


def _keep(text: str) -> Literal["none", "thin", "all"]:
    if text not in ("none", "thin", "all"):
        raise InputError(f'"{text}" is not known; allowed: none, thin, all', key="--keep")
    return text  # type: ignore[return-value]


def _summary(standing: Standing, folder: str) -> dict[str, Any]:
    from snapsim.analysis.cautions import CAUTIONS

    return {
        "directory": folder,
        "runs": standing.total,
        "computed_now": standing.fresh,
        "damaged_rows": standing.damaged,
        "seconds": standing.seconds,
        "runs_per_second": standing.rate,
        "statuses": dict(sorted(standing.statuses.items())),
        "flags": dict(sorted(standing.flags.items())),
        "coarse_first_left_out": bool(standing.left_out),
        "coarse_first_says": standing.left_out or None,
        "cautions": list(CAUTIONS),
    }


def _table(result: dict[str, Any]) -> str:
    counted = ", ".join(f"{n} {k}" for k, n in result["statuses"].items()) or "none"
    flags = ", ".join(f"{k.replace('_', ' ')} in {n}" for k, n in result["flags"].items())
    twice = result["runs"] - sum(result["statuses"].values())
    also = f"; {twice} of all were made with long steps first, or only so" if twice > 0 else ""
    lines = [
        f"runs: {counted}; {flags or 'nothing that counts happened'}",
        f"{result['computed_now']} releases computed now, {result['runs_per_second']:.3g} a second"
        f"{also}; next: snapsim rank {result['directory']}",
        *result["cautions"],
    ]
    if result["coarse_first_left_out"]:
        lines.insert(1, f"coarse_first left out: {result['coarse_first_says']}")
    if result["damaged_rows"]:
        lines.insert(1, f"{result['damaged_rows']} rows were damaged and are computed anew")
    return "\n".join(lines)
