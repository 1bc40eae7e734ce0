"""Runs on a Dask cluster: the executor of `runner` for workers on other machines.

    with cluster("tcp://10.0.0.5:8786") as make:
        sweep(study, file, folder, SweepOptions(executor=make))

The cluster is the user's own: a scheduler and workers, each with the same snapsim. A worker that
dies costs nothing: its tasks go to others (`Client.get_executor`, https://docs.dask.org). One whose
program differs is refused, since a table is of one program.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager, suppress
from functools import cache
from typing import TYPE_CHECKING, Any

from snapsim.errors import ComputationError, InputError
from snapsim.extras import require_extra
from snapsim.numerics.program import program_identity
from snapsim.study.runner import GLANCE, Result, Task, WorkerDied, WorkersElsewhere, run_task

if TYPE_CHECKING:
    from distributed import Client

CONNECT = 10.0
"""Seconds to wait for the scheduler."""

PATIENCE = 60.0
"""Seconds without any worker after which a sweep ends; what was done is kept."""


@contextmanager
def cluster(address: str) -> Iterator[Callable[[], Executor]]:
    """Connect to the scheduler at `address` and yield a maker of executors.

    Raises InputError where Dask is missing, nothing answers, no worker is there, or one has another
    program.
    """
    client = _connected(address)
    try:
        _require_same_program(client, address)
        yield lambda: ClusterExecutor(client, address)
    finally:
        with suppress(Exception):  # a scheduler that is gone cannot say goodbye
            client.close(timeout=CONNECT)


class ClusterExecutor(WorkersElsewhere):
    """Hands tasks to the workers of a connected client."""

    def __init__(self, client: Client, address: str) -> None:
        self._inner = client.get_executor(pure=False)
        self._client, self._address = client, address
        self._program = program_identity()
        self._seen = time.monotonic()
        self._counted, self._slots = -GLANCE, 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Begin one task elsewhere."""
        assert fn is run_task
        inner = self._inner.submit(_run_elsewhere, self._program, *args, **kwargs)
        outer: Future[Any] = Future()
        outer.set_running_or_notify_cancel()
        inner.add_done_callback(lambda done: self._pass_on(done, outer))
        return outer

    def slots(self) -> int:
        """Return the number of threads of all workers, counted every few seconds."""
        now = time.monotonic()
        if now - self._counted >= GLANCE:
            self._slots = sum(w["nthreads"] for w in self._workers().values())
            self._counted = now
        return self._slots

    def require_workers(self) -> None:
        """Raise ComputationError where there has been no worker for `PATIENCE` seconds."""
        if self._workers():
            self._seen = time.monotonic()
        elif time.monotonic() - self._seen > PATIENCE:
            raise ComputationError(
                f"the cluster at {self._address} has had no worker for {PATIENCE:.0f} s;"
                " what was done is kept, start the same again to go on"
            )

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Wait for what was begun, or drop it."""
        with suppress(Exception):
            self._inner.shutdown(wait=wait)

    def _workers(self) -> dict[str, Any]:
        found: dict[str, Any] = self._client.scheduler_info(n_workers=-1)["workers"]
        return found

    def _pass_on(self, done: Future[Any], outer: Future[Any]) -> None:
        """Give a result on, or what its loss means here."""
        from distributed import KilledWorker

        try:
            outer.set_result(done.result())
        except KilledWorker:
            outer.set_exception(WorkerDied())
        except (CancelledError, OSError):
            outer.set_exception(
                ComputationError(
                    f"the cluster at {self._address} is gone; what was done is kept,"
                    " start the same again to go on"
                )
            )
        except BaseException as fault:
            outer.set_exception(fault)


def _run_elsewhere(program: str, task: Task) -> Result:
    """Run a task on a worker, if it is the same program there."""
    if _own_program() != program:
        raise ComputationError(f"a worker has another program: {_own_program()}")
    return run_task(task)


@cache
def _own_program() -> str:
    return program_identity()


def _connected(address: str) -> Client:
    require_extra("cluster", "a cluster", key="--cluster")
    from distributed import Client

    _hush()
    try:
        return Client(address, timeout=CONNECT, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        what = str(error).split("\n")[0] or type(error).__name__
        raise InputError(
            f'no scheduler answers at "{address}" ({what}); give one like "tcp://127.0.0.1:8786"',
            key="--cluster",
        ) from None


def _hush() -> None:
    """Keep Dask's own tracebacks of lost connections from the terminal: they are said in a line."""
    for name in [n for n in logging.root.manager.loggerDict if n.startswith("distributed")]:
        logging.getLogger(name).setLevel(logging.CRITICAL)


def _require_same_program(client: Client, address: str) -> None:
    if not client.scheduler_info(n_workers=-1)["workers"]:
        raise InputError(f'the scheduler at "{address}" has no worker yet', key="--cluster")
    try:
        found: dict[str, str] = client.run(_own_program)
    except Exception as error:  # whatever a foreign worker says of a module that it lacks
        what = str(error).split("\n")[0]
        raise InputError(f"a worker cannot run snapsim: {what}", key="--cluster") from None
    here = program_identity()
    for worker, program in found.items():
        if program != here:
            raise InputError(
                f"the worker at {worker} has another program: {program}; here {here}",
                key="--cluster",
            )
