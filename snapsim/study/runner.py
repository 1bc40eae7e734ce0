"""Many releases at once, through `concurrent.futures`: tasks in, results out as they come.

A `Task` is plain data: a scene as text, what is changed in it, and how far it is followed. Its
result is a small dict (`outcome.outcome_of`). A run that fails is a result too, "failed" or
"overlap" with a reason; so is one whose worker dies again when run alone. Nothing is lost silently.

    tasks = [Task(n, text, "rig.toml", ("contact.friction=0.3",)) for n in range(100)]
    for number, result in run_all(tasks, workers=2):
        ...

By default in processes of their own (`spawn`: no inherited state, one BLAS thread each).
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    wait,
)
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice
from pathlib import Path
from shutil import disk_usage
from typing import Any, Literal, TypeVar

from snapsim.analysis.figures import number
from snapsim.errors import ComputationError, NotWritten, OutputError, SnapsimError
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.parts.shapes import Shape
from snapsim.run.first_use import prepare
from snapsim.run.run_log import Until
from snapsim.simulation.current_stages import StagedLoads
from snapsim.simulation.overlap import OverlapError
from snapsim.simulation.system import Detail, System
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.study.outcome import outcome_of
from snapsim.study.outcome_row import WhatCounts, nothing
from snapsim.study.place import placed
from snapsim.study.placement import Placement
from snapsim.work.interrupts import checkpoint
from snapsim.work.processes import Processes

Item = TypeVar("Item")
Answer = TypeVar("Answer")
Keep = Literal["none", "thin", "all"]
Result = dict[str, Any]

AHEAD = 2
"""Tasks in hand per worker: enough that none waits, few enough that little is lost."""

GLANCE = 5.0
"""Seconds after which an executor is asked whether it still has workers, if nothing was done."""

ROOM = 64 << 20
"""Bytes that must be free before a run file is written."""


class WorkerDied(Exception):
    """The worker died while it had this task; the executor goes on without it."""


class WorkersElsewhere(Executor):
    """An executor whose workers come and go, on machines of their own.

    Its futures raise WorkerDied where that is what became of a task, ComputationError where no
    task can be done any more.
    """

    def slots(self) -> int:
        """Return how many tasks can run at once now."""
        raise NotImplementedError

    def require_workers(self) -> None:
        """Raise ComputationError where it has had no worker for too long."""
        raise NotImplementedError


@dataclass(frozen=True)
class Options:
    """How runs are made: `stop_at_magnet` ends one at the first blow that counts on a magnet.

    `keep` writes run files to `folder`: "all" whole, "thin" without cells and with few frames.
    `twin`: the run is made once more, begun a millionth otherwise.
    """

    counts: WhatCounts = field(default_factory=WhatCounts)
    stop_at_magnet: bool = False
    keep: Keep = "none"
    folder: str = ""
    twin: bool = False


@dataclass(frozen=True)
class Task:
    """One release: `number` names it; `file` stands in errors and says where mesh files are.

    `changes` are "key=value" texts as for --set; `places` move bodies after that; `settings` steer
    the motion's steps, the usual ones where None.
    """

    number: int
    scene: str
    file: str
    changes: tuple[str, ...] = ()
    places: tuple[Placement, ...] = ()
    options: Options = field(default_factory=Options)
    settings: MotionSettings | None = None


def run_task(task: Task) -> Result:
    """Run one task here and return its result; never raises for what a scene can do wrong.

    Raises OutputError where a run file that is to be kept cannot be written.
    """
    began = time.process_time()
    result = _guarded(task)
    return result | {"number": task.number, "cpu_s": time.process_time() - began}


def run_all(
    tasks: Iterable[Task], workers: int = 1, executor: Callable[[], Executor] | None = None
) -> Generator[tuple[int, Result], None, None]:
    """Yield (number, result) of each task as it is done, in no fixed order.

    `executor` makes a `concurrent.futures` executor (processes by default); it is called again
    after one broke. Close the generator, or break off, and tasks not begun are dropped.
    """
    make = executor or (lambda: processes(workers))
    waiting, suspects = _Waiting(tasks), _Waiting([])
    while waiting or suspects:
        alone = bool(suspects)
        queue, room = (suspects, 1) if alone else (waiting, AHEAD * workers)
        lost = yield from _until_broken(make(), queue, room)
        if alone and lost:
            for task in lost:
                yield task.number, _died(task)
        else:
            suspects.extend(lost)


class _Waiting:
    """Tasks in line, each made when its turn comes: thousands take a while, and workers wait."""

    def __init__(self, tasks: Iterable[Task]) -> None:
        self._made, self._rest = deque[Task](), iter(tasks)

    def __bool__(self) -> bool:
        if not self._made:
            self._made.extend(islice(self._rest, 1))
        return bool(self._made)

    @property
    def first(self) -> Task:
        """The next one, where there is one."""
        return self._made[0]

    def drop(self) -> None:
        """Take the next one out of the line."""
        self._made.popleft()

    def extend(self, tasks: Iterable[Task]) -> None:
        """Put others in line, before those that are not made yet."""
        self._made.extend(tasks)


def processes(workers: int) -> Processes:
    """Return an executor of `workers` fresh processes, once the kernels are compiled."""
    prepare()
    return Processes(workers)


def _until_broken(
    executor: Executor, queue: _Waiting, room: int
) -> Generator[tuple[int, Result], None, list[Task]]:
    """Feed the executor from the queue; return the tasks whose worker died, or that were in hand
    when it broke."""
    in_hand: dict[Future[Result], Task] = {}
    lost: list[Task] = []
    whole = False
    try:
        while queue or in_hand:
            if not _handed_out(executor, queue, in_hand, room):
                break
            done = _some_done(executor, in_hand)
            if any(isinstance(f.exception(), BrokenExecutor) for f in done):
                break
            for future in done:
                task = in_hand.pop(future)
                if isinstance(future.exception(), WorkerDied):
                    lost.append(task)
                else:
                    yield task.number, _result(future, task)
        whole = not in_hand
    finally:
        executor.shutdown(wait=whole, cancel_futures=True)
    for future in [f for f in in_hand if f.done() and f.exception() is None]:
        yield in_hand[future].number, future.result()
        del in_hand[future]
    return lost + list(in_hand.values())


def _handed_out(
    executor: Executor, queue: _Waiting, in_hand: dict[Future[Result], Task], room: int
) -> bool:
    """Put tasks in hand while there is room; False where the executor is broken."""
    try:
        while queue and len(in_hand) < _room(executor, room):
            in_hand[executor.submit(run_task, queue.first)] = queue.first
            queue.drop()
    except BrokenExecutor:
        return False
    return True


def _room(executor: Executor, room: int) -> int:
    """How many tasks may be in hand: one where they run alone, else by the workers there are."""
    if room > 1 and isinstance(executor, WorkersElsewhere):
        return AHEAD * max(1, executor.slots())
    return room


def _some_done(executor: Executor, in_hand: dict[Future[Result], Task]) -> set[Future[Result]]:
    """Wait for a task to be done, as long as there is somebody to do it."""
    while True:
        checkpoint()
        done, _ = wait(in_hand, GLANCE, return_when=FIRST_COMPLETED)
        if done:
            return done
        if isinstance(executor, WorkersElsewhere):
            executor.require_workers()


def _result(future: Future[Result], task: Task) -> Result:
    fault = future.exception()
    if fault is None:
        return future.result()
    if isinstance(fault, OutputError | ComputationError):
        raise fault
    return nothing("failed", f"{type(fault).__name__}: {fault}") | {"number": task.number}


def _died(task: Task) -> Result:
    return nothing("failed", "the worker process died while computing it") | {"number": task.number}


def _guarded(task: Task) -> Result:
    try:
        return _release(task)
    except OverlapError as error:
        return nothing("overlap", str(error.worst))
    except OutputError:  # a full disk is no outcome of a run: the sweep ends and can go on later
        raise
    except SnapsimError as error:
        return nothing("failed", str(error))
    except MemoryError:
        return nothing("failed", "out of memory")
    except Exception as error:  # a fault of one run must not end the other thousands
        return nothing("failed", f"{type(error).__name__}: {error}")


def _release(task: Task) -> Result:
    from snapsim.run.release import not_interrupted, release, shared_loads

    kept = task.options.keep != "none"
    system = _system(task.scene, task.file, task.changes, kept)
    for placement in task.places:
        system = placed(system, placement)
    meshes = _meshes(system)
    loads = shared_loads(system, task.settings, meshes) if task.options.twin else None
    run = release(
        system,
        settings=task.settings,
        meshes=meshes,
        until=_until(system, task.options),
        estimates=kept,
        frames=kept or task.settings is None,
        magnetisation=kept,
        loads=loads,
    )
    _keep(not_interrupted(run), task)
    result = outcome_of(run, task.options.counts)
    return result if loads is None else result | {"twin": _twin(run, task, loads)}


def _twin(run: Trajectory, task: Task, loads: StagedLoads) -> Result | None:
    """What the same run comes to that began a millionth otherwise; None where it came to none."""
    from snapsim.run.release import not_interrupted, release
    from snapsim.run.twins import parting, perturbed

    try:
        other = release(
            perturbed(run.system, 1),
            settings=task.settings,
            meshes=_meshes(run.system),
            until=_until(run.system, task.options),
            estimates=False,
            frames=task.settings is None,
            magnetisation=False,
            loads=loads,
        )
    except OverlapError:
        return None
    found = outcome_of(not_interrupted(other), task.options.counts)
    if found["status"] != "done":
        return None
    return {
        "flags": found["flags"],
        "measures": found["measures"],
        "parted_s": number(parting(run, other)),
    }


@lru_cache(maxsize=8)
def _system(text: str, file: str, changes: tuple[str, ...], resolve: bool) -> System:
    from snapsim.scenario.loading import scene_from_text

    return scene_from_text(text, file, changes, resolve)


def _meshes(system: System) -> dict[int, CellMesh]:
    """The cells of each body that has some, kept from run to run where the shape is the same."""
    chosen = [i for i, body in enumerate(system.bodies) if system.has_cells(body)]
    return {i: _mesh(system.bodies[i].shape, system.detail) for i in chosen}  # type: ignore[arg-type]


@lru_cache(maxsize=32)
def _mesh(shape: Shape, detail: Detail) -> CellMesh:
    from snapsim.magnetics.cells import mesh

    return mesh(shape, detail)


def _until(system: System, options: Options) -> Until | None:
    if not options.stop_at_magnet:
        return None
    magnets = {b.name for b in system.bodies if b.is_magnet}

    def struck(impact: Impact) -> EndReason | None:
        hit = magnets & {impact.body, impact.against}
        fast = impact.closing_speed >= options.counts.magnet_speed
        return EndReason.MAGNET_STRUCK if hit and fast else None

    return struck


def _keep(run: Trajectory, task: Task) -> None:
    """Write the run file that is asked for, whole or not at all."""
    options = task.options
    if options.keep == "none":
        return
    from snapsim.storage.writing import write_run
    from snapsim.study.thinning import thinned

    path = Path(options.folder) / f"{task.number:06d}.h5"
    if _free(options.folder) < ROOM:  # the ledger beside it needs some too
        raise NotWritten(f"{path}: less than {ROOM >> 20} MiB are free on the disk; make room")
    write_run(thinned(run) if options.keep == "thin" else run, path, force=True)


def _free(folder: str) -> int:
    """Bytes free where run files are kept."""
    try:
        return disk_usage(folder).free
    except OSError as error:
        raise OutputError(
            f"{folder}: a worker cannot keep run files there: {error.strerror};"
            " workers on other machines need a folder that all of them share"
        ) from None
