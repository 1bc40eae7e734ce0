"""A sweep: the runs of a study that the ledger does not have yet, computed and written down.

Broken off at any moment and started again it goes on; the finished ledger is the same either way,
as a run depends on nothing but its task.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, field, replace
from os import PathLike, fspath
from pathlib import Path
from typing import Any

from snapsim.analysis.stray_field import stray_summary
from snapsim.arrays import Array
from snapsim.errors import NotWritten, storable
from snapsim.numerics.program import program_identity
from snapsim.study.both_ways import coarse_number
from snapsim.study.cases import Cases, cases, stopping
from snapsim.study.coarse_first import (
    COARSE,
    WORTH,
    CoarseRun,
    PilotRuns,
    checked,
    open_runs,
    pilot_numbers,
    piloted,
    trusted,
    wider,
)
from snapsim.study.ledger import Ledger
from snapsim.study.outcome_row import is_outcome
from snapsim.study.rare_event import estimates
from snapsim.study.rig_views import rig_views
from snapsim.study.runner import Keep, Options, Task, processes, run_all
from snapsim.study.sampling import RunSpot, count, spots
from snapsim.study.study_file import Study
from snapsim.words.shortcuts import MIXED, TOO_FEW, most_again
from snapsim.work.processes import KeptProcesses

RUNS = "runs"
"""Folder of the run files that are kept."""


@dataclass
class Standing:
    """How a sweep stands: of `total` runs `done` are in the ledger, `fresh` of them new.

    `flags` counts runs with each flag up, `statuses` those done, overlapping and failed, of all in
    the ledger. `seconds` since it was started. `damaged` rows of the ledger are computed anew.
    `too_few`: coarse first was asked for, and would not have helped with so few runs; `pilot`: what
    its first runs showed, None where it was not begun.
    """

    total: int
    done: int = 0
    fresh: int = 0
    seconds: float = 0.0
    flags: Counter[str] = field(default_factory=Counter)
    statuses: Counter[str] = field(default_factory=Counter)
    damaged: int = 0
    too_few: bool = False
    pilot: PilotRuns | None = None

    def take(self, result: dict[str, Any], instead_of: dict[str, Any] | None = None) -> None:
        """Count one result, of a run made again instead of its earlier one."""
        self.done += 1
        if instead_of is not None:
            self.statuses[instead_of["status"]] -= 1
            self.flags.subtract(_up(instead_of))
        self.statuses[result["status"]] += 1
        self.flags.update(_up(result))

    @property
    def left_out(self) -> str:
        """Why coarse first was left out though asked for, in words; "" where it was not."""
        if self.too_few:
            return TOO_FEW
        pilot = self.pilot
        if pilot is None or pilot.spares:
            return ""
        return MIXED if pilot.mixed else most_again(pilot.open, pilot.runs)

    @property
    def rate(self) -> float:
        """New runs a second."""
        return self.fresh / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float:
        """Seconds that the rest should take, nan before the first run is done."""
        return (self.total - self.done) / self.rate if self.rate > 0 else float("nan")


def _up(result: dict[str, Any]) -> list[str]:
    return [k for k, v in result.get("flags", {}).items() if v]


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
    identity = {**ready.identity, "program": program_identity(), "--keep": options.keep}
    notes = {"study text": study.model_dump_json(), "scene file": storable(ready.file)}
    notes["stray field"] = json.dumps(stray_summary(ready.scene))
    notes["rig"] = json.dumps(rig_views(ready.scene))
    with Ledger(folder, identity, options.redo, notes, is_outcome) as ledger:
        return _fill(ready, ledger, options, progress)


def _fill(
    ready: Cases,
    ledger: Ledger,
    options: SweepOptions,
    progress: Callable[[Standing], None] | None,
) -> Standing:
    """Compute what is missing: in one pass, coarse first, or level by level."""
    standing = Standing(
        count(ready.study),
        damaged=len(ledger.damaged),
        too_few=ready.study.coarse_first and not helps(ready.study),
    )
    run_options = stopping(ready.study, Options(keep=options.keep, folder=_folder(ledger, options)))
    with closing(_SweepDesk(ledger, options, progress, standing)) as desk:
        if ready.study.rare is not None:
            _level_by_level(ready, desk, run_options)
        elif ready.study.coarse_first and not standing.too_few:
            _coarse_first(ready, desk, run_options)
        else:
            desk.compute(ready.tasks(run_options))
        return desk.standing


def helps(study: Study) -> bool:
    """Return whether coarse first can help: with fewer than `WORTH` runs a setup it does not."""
    return _each(study) >= WORTH


def _each(study: Study) -> int:
    """Runs of each setup."""
    return count(study) // max(1, len(study.setup))


def _long_steps(
    ready: Cases, desk: _SweepDesk, options: Options, numbers: set[int]
) -> list[CoarseRun]:
    """Make some runs with long steps."""
    desk.compute(
        replace(task, number=coarse_number(task.number), settings=COARSE)
        for task in ready.tasks(replace(options, keep="none"), numbers)
    )
    return [
        CoarseRun(spot, shares, desk.known[coarse_number(spot.number)])
        for spot, shares in spots(ready.study)
        if spot.number in numbers
    ]


def _coarse_first(ready: Cases, desk: _SweepDesk, options: Options) -> None:
    """All runs with long steps, then those that are left open; only these keep run files. Where
    the first few show that most would be left open, all with the usual ones at once."""
    every = [spot.number for spot, _ in spots(ready.study)]
    first = pilot_numbers(every)
    runs = _long_steps(ready, desk, options, first)
    pilot = piloted(runs, ready.study.counts(), _each(ready.study))
    desk.standing.pilot = pilot
    if not pilot.spares:
        desk.standing.total += len(first)
        desk.compute(ready.tasks(options))
        return
    others = _long_steps(ready, desk, options, set(every) - first)
    runs = sorted([*runs, *others], key=lambda run: every.index(run.spot.number))

    def make_again(numbers: set[int]) -> None:
        desk.standing.total += len(numbers)
        desk.compute(ready.tasks(options, numbers))

    again = open_runs(runs, ready.study.counts())
    make_again(again)
    if trusted(desk.known, checked(runs)):
        for more in wider(runs, desk.known, again):
            make_again(more)
    else:
        make_again({run.spot.number for run in runs} - again)


def _level_by_level(ready: Cases, desk: _SweepDesk, options: Options) -> None:
    """The runs of a rare event, each level where the one before says."""
    desk.standing.total = 0

    def answer(runs: Sequence[tuple[RunSpot, Array]]) -> list[dict[str, Any]]:
        desk.standing.total += len(runs)
        desk.compute([ready.task(spot, shares, options) for spot, shares in runs])
        return [desk.known[spot.number] for spot, _ in runs]

    for setup in range(max(1, len(ready.study.setup))):
        estimates(ready.study, setup, answer)


class _SweepDesk:
    """Has tasks computed that the ledger does not know, and keeps count."""

    def __init__(
        self,
        ledger: Ledger,
        options: SweepOptions,
        progress: Callable[[Standing], None] | None,
        standing: Standing,
    ) -> None:
        self.ledger, self.options, self.progress = ledger, options, progress
        self.standing = standing
        self.known = dict(ledger.results())
        self._processes = KeptProcesses(lambda: processes(options.workers))
        self._began = time.monotonic()

    def compute(self, tasks: Iterable[Task]) -> None:
        """Compute what is missing of the tasks, which are made when their turn comes."""
        missing = self._missing(tasks)
        executor = self.options.executor or self._processes
        with closing(run_all(missing, self.options.workers, executor)) as runs:
            for number, result in runs:
                self.ledger.add(number, result)
                self.known[number] = _as_kept(result)
                self._count(number, self.known[number])
                self.standing.fresh += 1
                self.standing.seconds = time.monotonic() - self._began
                if self.progress is not None:
                    self.progress(self.standing)

    def _missing(self, tasks: Iterable[Task]) -> Iterator[Task]:
        """Those that are not known; the others are counted."""
        for task in tasks:
            if task.number in self.known:
                self._count(task.number, self.known[task.number])
            else:
                yield task

    def close(self) -> None:
        """Let the processes end."""
        self._processes.close()

    def _count(self, number: int, result: dict[str, Any]) -> None:
        earlier = self.known.get(coarse_number(number)) if number >= 0 else None
        self.standing.take(result, earlier)


def _as_kept(result: dict[str, Any]) -> dict[str, Any]:
    """A result as the ledger gives it back."""
    found: dict[str, Any] = json.loads(
        json.dumps({k: v for k, v in result.items() if k not in ("number", "cpu_s")})
    )
    return found


def _folder(ledger: Ledger, options: SweepOptions) -> str:
    if options.keep == "none":
        return ""
    folder = Path(ledger.folder) / RUNS
    try:
        folder.mkdir(exist_ok=True)
        for half in folder.glob(".*.part"):  # of a worker that was ended while it wrote
            half.unlink()
    except OSError as error:
        raise NotWritten(f"{folder}: cannot be made: {error.strerror}") from None
    return str(folder.absolute())
