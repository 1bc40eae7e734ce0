"""A sweep: the runs of a study that the ledger does not have yet, computed and written down.

Broken off at any moment and started again it goes on; the finished ledger is the same either way,
as a run depends on nothing but its task.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, field
from os import PathLike, fspath
from pathlib import Path
from typing import Any

from snapsim.analysis.stray_field import stray_summary
from snapsim.errors import OutputError
from snapsim.study.cases import Cases, cases, stopping
from snapsim.study.ledger import Ledger, program_identity
from snapsim.study.runner import Keep, Options, run_all
from snapsim.study.sampling import count
from snapsim.study.study_file import Study

RUNS = "runs"
"""Folder of the run files that are kept."""


@dataclass
class Standing:
    """How a sweep stands: of `total` runs `done` are in the ledger, `fresh` of them new.

    `flags` counts runs with each flag up, `statuses` those done, overlapping and failed, of all in
    the ledger. `seconds` since it was started.
    """

    total: int
    done: int = 0
    fresh: int = 0
    seconds: float = 0.0
    flags: Counter[str] = field(default_factory=Counter)
    statuses: Counter[str] = field(default_factory=Counter)

    def take(self, result: dict[str, Any]) -> None:
        """Count one result."""
        self.done += 1
        self.statuses[result["status"]] += 1
        self.flags.update(k for k, v in result.get("flags", {}).items() if v)

    @property
    def rate(self) -> float:
        """New runs a second."""
        return self.fresh / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float:
        """Seconds that the rest should take, nan before the first run is done."""
        return (self.total - self.done) / self.rate if self.rate > 0 else float("nan")


@dataclass(frozen=True)
class SweepOptions:
    """`workers` processes; run files kept as said; `redo` computes anew what another scene or
    program has left; `executor` makes another kind of executor than processes."""

    workers: int = 1
    keep: Keep = "none"
    redo: bool = False
    executor: Callable[[], Executor] | None = None


def sweep(
    study: Study,
    file: str | PathLike[str],
    folder: str | PathLike[str],
    options: SweepOptions | None = None,
    progress: Callable[[Standing], None] | None = None,
) -> Standing:
    """Compute what is missing of a study in `folder`; return how it stands then.

    `file` is where the study was read from. An interrupt (KeyboardInterrupt) passes through; what
    was done is kept. Raises InputError for the scene, OutputError for the directory.
    """
    options = options or SweepOptions()
    ready = cases(study, fspath(file))
    identity = {**ready.identity, "program": program_identity()}
    notes = {"study text": study.model_dump_json(), "scene file": ready.file}
    notes["stray field"] = json.dumps(stray_summary(ready.scene))
    with Ledger(folder, identity, options.redo, notes) as ledger:
        return _fill(ready, ledger, options, progress)


def _fill(
    ready: Cases,
    ledger: Ledger,
    options: SweepOptions,
    progress: Callable[[Standing], None] | None,
) -> Standing:
    standing = Standing(count(ready.study))
    run_options = stopping(ready.study, Options(keep=options.keep, folder=_folder(ledger, options)))
    done = _already(ready, ledger, standing)
    missing = (t for t in ready.tasks(run_options) if t.number not in done)
    began = time.monotonic()
    with closing(run_all(missing, options.workers, options.executor)) as runs:
        for number, result in runs:
            ledger.add(number, result)
            standing.take(json.loads(json.dumps(result)))
            standing.fresh += 1
            standing.seconds = time.monotonic() - began
            if progress is not None:
                progress(standing)
    return standing


def _already(ready: Cases, ledger: Ledger, standing: Standing) -> set[int]:
    """Count what the ledger has of this study."""
    wanted = {task.number for task in ready.tasks(Options())}
    done = set()
    for number, result in ledger.results():
        if number in wanted:
            done.add(number)
            standing.take(result)
    return done


def _folder(ledger: Ledger, options: SweepOptions) -> str:
    if options.keep == "none":
        return ""
    folder = Path(ledger.folder) / RUNS
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be made: {error.strerror}") from None
    return str(folder.absolute())
