"""Processes beside this one: the one way in which workers begin, mind interrupts and end.

They begin fresh (`spawn`: no inherited state; one BLAS thread each, as the package sets it), leave
an interrupt at the terminal to the process that wants their work, and end when that is gone, killed
for example. Sweeps, fate maps, fits and clips hand tasks to `Processes`; a lane of the page keeps
one `process_beside` for itself.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from multiprocessing.process import BaseProcess
from typing import Any, Final, TypeVar

from snapsim.errors import ComputationError
from snapsim.work.interrupts import held_back

Item = TypeVar("Item")
Answer = TypeVar("Answer")

CONTEXT: Final = multiprocessing.get_context("spawn")
"""How processes begin; makes what they share."""


def process_beside(work: Callable[..., None], *given: Any) -> BaseProcess:
    """Return a started process that does one thing for as long as it lives."""
    process = CONTEXT.Process(target=_begin, args=(work, given), daemon=True)
    with held_back():
        process.start()
    return process


class Processes(ProcessPoolExecutor):
    """`workers` processes that an interrupt does not reach, and that end when told to.

    Each calls `begin(*given)` first.
    """

    def __init__(
        self, workers: int, begin: Callable[..., None] | None = None, given: tuple[Any, ...] = ()
    ) -> None:
        self._others = set(multiprocessing.active_children())
        super().__init__(workers, CONTEXT, _begin, (begin, given))

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Submit with interrupts held back: a process begun here inherits that."""
        with held_back():
            return super().submit(fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let the processes end; at once, with what they are at, unless `wait`."""
        super().shutdown(wait, cancel_futures=cancel_futures)
        if not wait:
            for process in set(multiprocessing.active_children()) - self._others:
                process.terminate()


class KeptProcesses:
    """Makes executors that share one set of processes from call to call; close it at the end."""

    def __init__(self, make: Callable[[], Executor]) -> None:
        self._make = make
        self.now: Executor | None = None

    def __call__(self) -> Executor:
        """Return an executor on the processes there are, begun anew where they were lost."""
        self.now = self.now or self._make()
        return _Borrowed(self)

    def close(self, wait: bool = True) -> None:
        """End the processes."""
        now, self.now = self.now, None
        if now is not None:
            now.shutdown(wait, cancel_futures=True)


class _Borrowed(Executor):
    def __init__(self, owner: KeptProcesses) -> None:
        self._owner = owner

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        assert self._owner.now is not None
        return self._owner.now.submit(fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        if not wait:  # broken, or broken off: what these processes are at is not wanted
            self._owner.close(wait=False)


def each_apart(
    executor: Executor, call: Callable[[Item], Answer], items: Iterable[Item], advice: str
) -> Generator[tuple[Item, Answer], None, None]:
    """Yield (item, call(item)) of each item as it is done, in no fixed order.

    Raises ComputationError with an `advice` where a worker process died.
    """
    try:
        waiting = {executor.submit(call, item): item for item in items}
        while waiting:
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                yield waiting.pop(future), future.result()
    except BrokenExecutor:
        raise ComputationError(f"a worker process died; {advice}") from None


def _begin(work: Callable[..., None] | None, given: tuple[Any, ...]) -> None:
    """Leave interrupts to the parent, end when it is gone; then do the work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_go_with_parent, daemon=True).start()
    if work is not None:
        work(*given)


def _go_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
